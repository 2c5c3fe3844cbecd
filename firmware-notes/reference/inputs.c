#include "inputs.h"

#include <avr/io.h>

#include "board.h"
#include "debounce.h"

/* Internal 1.1 V reference: the supply being measured also feeds the chip, so it cannot
 * be its own yardstick.
 */
#define REFERENCE_INTERNAL ((1u << REFS1) | (1u << REFS0))
#if F_CPU > 8000000 /* the converter wants 50 to 200 kHz: 125 kHz either way */
#define CLOCK_DIVIDED ((1u << ADPS2) | (1u << ADPS1) | (1u << ADPS0))
#else
#define CLOCK_DIVIDED ((1u << ADPS2) | (1u << ADPS1))
#endif
#define FULL_SCALE 1024u
#define PATIENCE 1000u /* looks; a conversion is over after some 240 */

static struct debounce mark_button;

void inputs_begin(const struct table *table)
{
    DDRC &= (uint8_t)~BOARD_INPUTS;
    PORTC |= BOARD_INPUTS;
    for (uint8_t i = 0; i < table->count; i++) {
        const struct channel *channel = &table->channels[i];

        if (channel->source == SOURCE_STATE && channel->scale == 0u) {
            PORTC &= (uint8_t)~(1u << (channel->where - 1u));
        }
    }
    DDRD &= (uint8_t)~BOARD_BUTTON;
    PORTD |= BOARD_BUTTON;
    ADMUX = (uint8_t)(REFERENCE_INTERNAL | TABLE_ANALOGUE);
    ADCSRA = (uint8_t)((1u << ADEN) | CLOCK_DIVIDED);
    DIDR0 = (uint8_t)(1u << TABLE_ANALOGUE);
}

bool input_is_on(const struct channel *channel)
{
    bool high = (PINC & (1u << (channel->where - 1u))) != 0u;

    return high != (channel->scale == 1u);
}

static bool convert(uint16_t *counts)
{
    ADCSRA |= (uint8_t)(1u << ADSC);
    for (uint16_t looks = 0; looks < PATIENCE; looks++) {
        if ((ADCSRA & (1u << ADSC)) == 0u) {
            *counts = ADC;
            return true;
        }
    }
    return false;
}

bool input_hundredths(const struct channel *channel, uint32_t *hundredths)
{
    uint16_t counts;

    /* The first conversion after a pause may be off by the settling of the reference. */
    if (!convert(&counts) || !convert(&counts)) {
        return false;
    }
    *hundredths = ((uint32_t)counts * channel->scale / 10u + FULL_SCALE / 2u) / FULL_SCALE;
    return true;
}

bool input_marked(void)
{
    return debounce_pressed(&mark_button, (PIND & BOARD_BUTTON) == 0u);
}
