#include "uptime.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "critical.h"

#if F_CPU % 64000 != 0 || F_CPU / 64000 > 256
#error "no whole 1 ms beat from this clock with prescaler 64"
#endif

static volatile uint32_t beats = START_UPTIME_MS;
static uint32_t seen = START_UPTIME_MS;

ISR(TIMER0_COMPA_vect)
{
    beats++;
}

void uptime_begin(void)
{
    TCCR0A = (uint8_t)(1u << WGM01);
    OCR0A = (uint8_t)(F_CPU / 64000u - 1u);
    TIMSK0 = (uint8_t)(1u << OCIE0A);
    TCCR0B = (uint8_t)((1u << CS01) | (1u << CS00));
    SMCR = 0; /* idle: timer and port go on */
}

uint32_t uptime_ms(void)
{
    uint32_t now = 0;

    CRITICAL {
        now = beats;
    }
    return now;
}

uint32_t uptime_wait_beat(void)
{
    for (;;) {
        cli();
        if (beats != seen) {
            seen = beats;
            sei();
            return seen;
        }
        /* The instruction after sei runs before any interrupt, so a beat that arrives
         * between the question above and the sleep still ends the sleep.
         */
        sleep_enable();
        sei();
        sleep_cpu();
        sleep_disable();
    }
}
