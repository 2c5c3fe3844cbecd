/* Thermocouple converters: the word of each part exactly as the part gave it. */
#ifndef CONVERTERS_H
#define CONVERTERS_H

#include <stdint.h>

#include "table.h"

#define CONVERTER_WORD 6u /* bytes of the longest word */

/* Sets up the parts that need it. */
void converters_begin(const struct table *table, uint32_t now_ms);

/* Reads one converter into `word`; returns its bytes, 0 for "no reading". Takes a fixed
 * number of bus bytes whatever the part does.
 */
uint8_t converter_read(const struct channel *channel, uint32_t now_ms,
                       uint8_t word[CONVERTER_WORD]);

#endif
