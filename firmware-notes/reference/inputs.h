/* Sense inputs, the supply voltage and the mark button. */
#ifndef INPUTS_H
#define INPUTS_H

#include <stdbool.h>
#include <stdint.h>

#include "table.h"

/* Pull-ups on the `low` inputs of `table` and on those it leaves out; a divider has none, for
 * a pull-up would lift its "off" into the range where the chip may read either.
 */
void inputs_begin(const struct table *table);

/* Whether the state of `channel` is "on". */
bool input_is_on(const struct channel *channel);

/* Volts of `channel` in hundredths; false if the converter gave none. Waits for two
 * conversions, 0.2 ms, and gives up after twice that.
 */
bool input_hundredths(const struct channel *channel, uint32_t *hundredths);

/* One look at the button per beat; true once per press. */
bool input_marked(void);

#endif
