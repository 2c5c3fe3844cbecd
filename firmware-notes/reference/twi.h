/* The I2C bus: registers of a device, with every wait bounded. */
#ifndef TWI_H
#define TWI_H

#include <stdbool.h>
#include <stdint.h>

/* 100 kHz; frees a device that a reset caught in the middle of a byte. */
void twi_begin(void);

/* False if the device does not answer, or holds a line for longer than a byte takes. */
bool twi_read(uint8_t address, uint8_t reg, uint8_t *bytes, uint8_t count);
bool twi_write(uint8_t address, uint8_t reg, uint8_t value);

#endif
