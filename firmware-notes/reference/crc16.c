#include "crc16.h"

/* Eight shift steps folded into one: 0x1021 has only the taps 12, 5 and 0, so their
 * contribution is three shifts. A 512-byte table is a quarter of the RAM or 1.5 % of the
 * flash, and the plain bit loop costs four times the cycles of this.
 */
uint16_t crc16_add(uint16_t crc, uint8_t byte)
{
    uint8_t fold = (uint8_t)((uint8_t)(crc >> 8) ^ byte);

    fold = (uint8_t)(fold ^ (fold >> 4));
    return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)fold << 12)
                      ^ (uint16_t)((uint16_t)fold << 5) ^ fold);
}
