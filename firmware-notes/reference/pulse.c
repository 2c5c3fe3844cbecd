#include "pulse.h"

/* One pulse a microsecond with one pulse per unit, in hundredths per minute and tenths. */
#define PER_MINUTE (60ull * 1000000ull * 100ull * 10ull)

static uint32_t rate(uint32_t edges, uint32_t span_us, uint16_t tenths)
{
    uint64_t hundredths = edges * PER_MINUTE / ((uint64_t)span_us * tenths);

    return hundredths > UINT32_MAX ? UINT32_MAX : (uint32_t)hundredths;
}

/* While no edge comes the rate can be no more than one edge in the time since the last. */
static void wait_for_edge(struct pulse_meter *meter, uint32_t silent_us, uint16_t tenths)
{
    uint32_t most = rate(1u, silent_us == 0u ? 1u : silent_us, tenths);

    if (silent_us >= PULSE_SILENT_US) {
        meter->is_timed = false;
        meter->hundredths = 0;
    } else if (meter->hundredths > most) {
        meter->hundredths = most;
    }
}

bool pulse_hundredths(struct pulse_meter *meter, struct pulse_count count, uint32_t now_us,
                      uint16_t tenths, uint32_t *hundredths)
{
    uint32_t edges = count.edges - meter->seen.edges;
    uint32_t span_us = count.last_us - meter->seen.last_us;
    bool was_timed = meter->is_timed;

    meter->seen = count;
    if (edges != 0u) {
        meter->is_timed = true;
        if (!was_timed || span_us == 0u) {
            return false;
        }
        meter->hundredths = rate(edges, span_us, tenths);
    } else if (was_timed) {
        wait_for_edge(meter, now_us - count.last_us, tenths);
    }
    *hundredths = meter->hundredths;
    return true;
}
