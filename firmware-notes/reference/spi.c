#include "spi.h"

#include <avr/io.h>

#include "board.h"
#include "critical.h"

#define ENABLED ((1u << SPE) | (1u << MSTR) | (1u << SPR0)) /* clock / 16 */

/* A byte takes 128 cycles at this clock; the wait gives up far later, and only if the
 * unit itself has failed: as master it needs no answer from any device to finish.
 */
#define PATIENCE 250u

void spi_begin(void)
{
    PORTB |= BOARD_SELECTS_B;
    PORTD |= BOARD_SELECTS_D;
    DDRB |= BOARD_SELECTS_B | BOARD_SPI_OUTPUTS;
    DDRD |= BOARD_SELECTS_D;
    /* Pull-up: with no converter there the bus reads all ones, which no converter says. */
    PORTB |= BOARD_SPI_INPUT;
    SPCR = ENABLED;
}

void spi_open(uint8_t where, enum spi_edge edge)
{
    struct select_pin pin = board_select(where);

    SPCR = edge == SPI_SECOND_EDGE ? (uint8_t)(ENABLED | (1u << CPHA)) : (uint8_t)ENABLED;
    CRITICAL {
        *pin.port &= (uint8_t)~pin.mask;
    }
}

void spi_close(uint8_t where)
{
    struct select_pin pin = board_select(where);

    CRITICAL {
        *pin.port |= pin.mask;
    }
}

uint8_t spi_swap(uint8_t byte)
{
    SPDR = byte;
    for (uint8_t looks = 0; looks < PATIENCE; looks++) {
        if ((SPSR & (1u << SPIF)) != 0u) {
            return SPDR;
        }
    }
    return 0xFFu;
}
