#include "twi.h"

#include <avr/io.h>
#include <util/delay.h>
#include <util/twi.h>

#include "board.h"

#define BUS_HZ 100000u
#define ENABLED ((1u << TWINT) | (1u << TWEN))
/* A byte with its acknowledge takes 90 us, some 160 looks at 16 MHz, and a device may stretch it
 * while it thinks; after six times that the bus is held.
 */
#define PATIENCE 1000u
#define DATA_BITS 9u /* clocks that end any byte a device may still be sending */

static bool step(uint8_t control, uint8_t expected)
{
    TWCR = (uint8_t)(ENABLED | control);
    for (uint16_t looks = 0; looks < PATIENCE; looks++) {
        if ((TWCR & (1u << TWINT)) != 0u) {
            return TW_STATUS == expected;
        }
    }
    return false;
}

static bool start(uint8_t expected)
{
    return step((uint8_t)(1u << TWSTA), expected);
}

static bool send(uint8_t byte, uint8_t expected)
{
    TWDR = byte;
    return step(0, expected);
}

/* Ends the exchange; a unit that is stuck is switched off, which lets both lines go. */
static bool finish(bool sound)
{
    if (!sound) {
        TWCR = 0;
    }
    TWCR = (uint8_t)(ENABLED | (1u << TWSTO));
    for (uint16_t looks = 0; looks < PATIENCE; looks++) {
        if ((TWCR & (1u << TWSTO)) == 0u) {
            return sound;
        }
    }
    TWCR = 0;
    return false;
}

static bool point(uint8_t address, uint8_t reg)
{
    return start(TW_START) && send((uint8_t)(address << 1), TW_MT_SLA_ACK)
           && send(reg, TW_MT_DATA_ACK);
}

static bool take(uint8_t *bytes, uint8_t count)
{
    for (uint8_t i = 0; i < count; i++) {
        bool more = i + 1u < count;

        if (!step(more ? (uint8_t)(1u << TWEA) : 0u,
                  more ? TW_MR_DATA_ACK : TW_MR_DATA_NACK)) {
            return false;
        }
        bytes[i] = TWDR;
    }
    return true;
}

void twi_begin(void)
{
    PORTC |= BOARD_TWI_DATA;
    for (uint8_t i = 0; i < DATA_BITS; i++) {
        DDRC |= BOARD_TWI_CLOCK;
        _delay_us(5);
        DDRC &= (uint8_t)~BOARD_TWI_CLOCK;
        _delay_us(5);
    }
    TWSR = 0;
    TWBR = (uint8_t)((F_CPU / BUS_HZ - 16u) / 2u);
}

bool twi_read(uint8_t address, uint8_t reg, uint8_t *bytes, uint8_t count)
{
    bool sound = point(address, reg) && start(TW_REP_START)
                 && send((uint8_t)((uint8_t)(address << 1) | 1u), TW_MR_SLA_ACK) && take(bytes, count);

    return finish(sound);
}

bool twi_write(uint8_t address, uint8_t reg, uint8_t value)
{
    return finish(point(address, reg) && send(value, TW_MT_DATA_ACK));
}
