/* Rates from counted edges: flow and speed, by the time between edges and not by their number.
 *
 * A count over one reading of a slow meter would be off by a whole pulse; the time from the
 * last edge of one reading to the last edge of the next is off by a tick.
 */
#ifndef PULSE_H
#define PULSE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define PULSE_SILENT_US 2000000u /* so long without an edge is standstill */

/* What has been counted: written by whoever sees the edges. */
struct pulse_count {
    uint32_t edges;
    uint32_t last_us; /* when the last one came; wraps */
};

/* Where the last reading ended. Starts as all zeros. */
struct pulse_meter {
    struct pulse_count seen;
    uint32_t hundredths;
    bool is_timed; /* `seen.last_us` is the time of an edge that belongs to this movement */
};

/* Litres or revolutions per minute in hundredths, from `tenths` of a pulse per litre or
 * revolution. False, for "no reading", when the first edges after a standstill have come but
 * their rate is not yet known. Call at least once a minute.
 */
bool pulse_hundredths(struct pulse_meter *meter, struct pulse_count count, uint32_t now_us,
                      uint16_t tenths, uint32_t *hundredths);

#ifdef __cplusplus
}
#endif

#endif
