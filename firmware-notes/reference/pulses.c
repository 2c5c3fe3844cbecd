#include "pulses.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>

#include "board.h"
#include "critical.h"

#define TICK_US (64000000u / F_CPU) /* 4 us at 16 MHz */
#define DEAD_TICKS (PULSES_DEAD_US / TICK_US)

struct input {
    uint32_t edges;
    uint32_t last_tick;
    bool is_low;
};

static volatile uint16_t high_ticks; /* what timer 1 has wrapped */
static volatile struct input inputs[TABLE_PULSES];

static uint8_t mask_of(uint8_t index)
{
    return (uint8_t)(BOARD_PULSE_1 << index);
}

/* With interrupts off. A wrap that waits for its interrupt belongs to a small count only. */
static uint32_t ticks(void)
{
    uint16_t low = TCNT1;
    uint16_t high = high_ticks;

    if ((TIFR1 & (1u << TOV1)) != 0u && low < 0x8000u) {
        high++;
    }
    return (uint32_t)high << 16 | low;
}

/* Odd, because the bench's simulator has no match at 0. */
static void rest(uint8_t index)
{
    uint16_t until = (uint16_t)((TCNT1 + DEAD_TICKS) | 1u);

    PCMSK2 &= (uint8_t)~mask_of(index);
    if (index == 0u) {
        OCR1A = until;
    } else {
        OCR1B = until;
    }
}

/* Counts a falling edge; true if the level is another one than last time. */
static bool look(uint8_t index)
{
    volatile struct input *input = &inputs[index];
    bool is_low = (PIND & mask_of(index)) == 0u;

    if (is_low == input->is_low) {
        return false;
    }
    input->is_low = is_low;
    if (is_low) {
        input->edges++;
        input->last_tick = ticks();
    }
    return true;
}

/* A match comes at every wrap as well, and may have waited while a rest began: both are
 * harmless, the second if the end of the rest is still ahead.
 */
static void hear_again(uint8_t index, uint16_t until)
{
    if ((uint16_t)(until - TCNT1 - 1u) <= DEAD_TICKS) {
        return;
    }
    PCMSK2 |= mask_of(index);
    if (look(index)) {
        rest(index);
    }
}

ISR(PCINT2_vect)
{
    for (uint8_t index = 0; index < TABLE_PULSES; index++) {
        if ((PCMSK2 & mask_of(index)) != 0u && look(index)) {
            rest(index);
        }
    }
}

ISR(TIMER1_COMPA_vect)
{
    hear_again(0u, OCR1A);
}

ISR(TIMER1_COMPB_vect)
{
    hear_again(1u, OCR1B);
}

ISR(TIMER1_OVF_vect)
{
    high_ticks++;
}

void pulses_begin(const struct table *table)
{
    DDRD &= (uint8_t)~(BOARD_PULSE_1 | BOARD_PULSE_2);
    PORTD |= BOARD_PULSE_1 | BOARD_PULSE_2;
    TCCR1A = 0;
    TCCR1B = (uint8_t)((1u << CS11) | (1u << CS10)); /* clock / 64, counting on for ever */
    TIMSK1 = (uint8_t)(1u << TOIE1);
    for (uint8_t i = 0; i < table->count; i++) {
        if (table->channels[i].source == SOURCE_PULSE) {
            uint8_t index = (uint8_t)(table->channels[i].where - 1u);

            inputs[index].is_low = (PIND & mask_of(index)) == 0u;
            PCMSK2 |= mask_of(index);
            TIMSK1 = (uint8_t)(TIMSK1 | 1u << (OCIE1A + index));
            PCICR = (uint8_t)(1u << PCIE2);
        }
    }
}

struct pulse_count pulses_seen(uint8_t where, uint32_t *now_us)
{
    struct pulse_count count = {0, 0};

    CRITICAL {
        count.edges = inputs[where - 1u].edges;
        count.last_us = inputs[where - 1u].last_tick * TICK_US;
        *now_us = ticks() * TICK_US;
    }
    return count;
}
