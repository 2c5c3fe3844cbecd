/* What is wired to which pin: the one file to change for another board.
 *
 * Numbers in brackets are those printed on the common development board.
 */
#ifndef BOARD_H
#define BOARD_H

#include <avr/io.h>
#include <stdint.h>

/* Chip selects 1..6: PB2 (10), PB1 (9), PB0 (8), PD7 (7), PD6 (6), PD5 (5). The first is
 * also the SPI unit's own select pin, which must be an output or the unit may drop out of
 * master mode when it is pulled low.
 */
struct select_pin {
    volatile uint8_t *port;
    uint8_t mask;
};

static inline struct select_pin board_select(uint8_t where)
{
    if (where <= 3u) {
        return (struct select_pin){&PORTB, (uint8_t)(1u << (3u - where))};
    }
    return (struct select_pin){&PORTD, (uint8_t)(1u << (11u - where))};
}

#define BOARD_SELECTS_B ((1u << PB2) | (1u << PB1) | (1u << PB0))
#define BOARD_SELECTS_D ((1u << PD7) | (1u << PD6) | (1u << PD5))

/* Shared SPI lines: PB3 (11) to the converters, PB4 (12) from them, PB5 (13) clock. The chip's
 * own pull-up would lift the data line to 5 V, which a 3.3 V converter does not stand; build
 * with BUS_PULL_UP=1 only where every part on the bus runs from the chip's own supply.
 */
#ifndef BUS_PULL_UP
#define BUS_PULL_UP 0
#endif
#define BOARD_SPI_OUTPUTS ((1u << PB3) | (1u << PB5))
#define BOARD_SPI_INPUT (1u << PB4)

/* Sense inputs 1..3: PC0 (A0), PC1 (A1), PC2 (A2); analogue input: ADC3 (A3). */
#define BOARD_INPUTS ((1u << PC0) | (1u << PC1) | (1u << PC2))

/* I2C: PC4 (A4) data, PC5 (A5) clock. */
#define BOARD_TWI_DATA (1u << PC4)
#define BOARD_TWI_CLOCK (1u << PC5)

/* Mark button: PD2 (2) to ground. Pulse inputs: PD3 (3), PD4 (4). */
#define BOARD_BUTTON (1u << PD2)
#define BOARD_PULSE_1 (1u << PD3)
#define BOARD_PULSE_2 (1u << PD4)

#endif
