/* Edges on the two pulse inputs, counted by interrupt.
 *
 * After each edge its input is deaf for PULSES_DEAD_US and then looked at once more, so an
 * input costs at most two short interrupts in that time whatever is on the wire, and no edge
 * that stays is missed. Each half of a pulse must last longer than the dead time.
 */
#ifndef PULSES_H
#define PULSES_H

#include <stdint.h>

#include "pulse.h"
#include "table.h"

#ifndef PULSES_DEAD_US
#define PULSES_DEAD_US 200u
#endif

/* Starts the inputs that `table` uses; the others never interrupt. */
void pulses_begin(const struct table *table);

/* What input 1..2 has counted, and the time now on the same scale. */
struct pulse_count pulses_seen(uint8_t where, uint32_t *now_us);

#endif
