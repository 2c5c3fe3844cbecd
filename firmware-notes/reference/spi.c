#include "spi.h"

#include <avr/io.h>

#include "board.h"
#include "critical.h"

#if F_CPU > 8000000
#define ENABLED ((1u << SPE) | (1u << MSTR) | (1u << SPR0)) /* clock / 16 */
#define DOUBLED 0u
#else
#define ENABLED ((1u << SPE) | (1u << MSTR) | (1u << SPR0)) /* clock / 8 when doubled */
#define DOUBLED (1u << SPI2X)
#endif

/* A byte takes at most 128 cycles; the wait gives up far later, and only if the
 * unit itself has failed: as master it needs no answer from any device to finish.
 */
#define PATIENCE 250u

void spi_begin(void)
{
    PORTB |= BOARD_SELECTS_B;
    PORTD |= BOARD_SELECTS_D;
    DDRB |= BOARD_SELECTS_B | BOARD_SPI_OUTPUTS;
    DDRD |= BOARD_SELECTS_D;
#if BUS_PULL_UP
    PORTB |= BOARD_SPI_INPUT;
#endif
    SPCR = ENABLED;
    SPSR = DOUBLED;
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
