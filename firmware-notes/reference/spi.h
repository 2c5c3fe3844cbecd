/* The SPI bus: one byte at a time, and never waiting for a device. */
#ifndef SPI_H
#define SPI_H

#include <stdint.h>

enum spi_edge {
    SPI_FIRST_EDGE, /* data taken at the first clock edge (mode 0) */
    SPI_SECOND_EDGE /* data taken at the second clock edge (mode 1) */
};

/* All chip selects high, the bus at 1 MHz: slow enough for a metre of loom. */
void spi_begin(void);

/* Pulls chip select `where` (1..6) low with the given clock phase; lets it go. */
void spi_open(uint8_t where, enum spi_edge edge);
void spi_close(uint8_t where);

/* Sends a byte and returns the one that came back; 0xFF if the unit gave none. */
uint8_t spi_swap(uint8_t byte);

#endif
