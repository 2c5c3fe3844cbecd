/* CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected, no final xor.
 * "123456789" gives 0x29B1 (the check value of the published CRC catalogue).
 */
#ifndef CRC16_H
#define CRC16_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define CRC16_START 0xFFFFu

/* The checksum after one more byte. Safe from interrupts: holds no state. */
uint16_t crc16_add(uint16_t crc, uint8_t byte);

#ifdef __cplusplus
}
#endif

#endif
