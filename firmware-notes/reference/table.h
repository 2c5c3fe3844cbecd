/* The channel table: what is wired where, and how often it is read.
 *
 * Image (EEPROM address 0, or the copy built into flash), little-endian:
 *
 *   magic     (4): "WSC1"; anything else is no table
 *   period_ms (2): 100..60000, and no shorter than the slowest converter allows
 *   count     (1): 1..16 channels
 *   channel  (21 each):
 *     name   (16): [a-z][a-z0-9_]*, zero-filled, unique
 *     source  (1): enum source
 *     detail  (1): thermocouple letter, unit letter, 0 for a state
 *     where   (1): chip select 1..6, input 1..3 or analogue input 3
 *     scale   (2): state: 1 if a low pin means "on"; value: mV at full scale
 *   crc       (2): CRC-16/IBM-3740 of every byte before it
 *
 * The chip never writes the EEPROM, so a supply that dies cannot spoil the table.
 */
#ifndef TABLE_H
#define TABLE_H

#include <stdbool.h>
#include <stdint.h>

#include "frame.h"

#define TABLE_CHANNELS 16u
#define TABLE_NAME 16u
#define TABLE_SELECTS 6u
#define TABLE_INPUTS 3u
#define TABLE_ANALOGUE 3u /* the one analogue input: ADC3 */
#define TABLE_SHORTEST_MS 100u
#define TABLE_LONGEST_MS 60000u

enum source {
    SOURCE_MAX31855 = 1,
    SOURCE_MAX6675 = 2,
    SOURCE_MAX31856 = 3,
    SOURCE_STATE = 4,
    SOURCE_VALUE = 5
};

struct channel {
    char name[TABLE_NAME + 1u];
    uint8_t source;
    char detail;
    uint8_t where;
    uint16_t scale;
};

struct table {
    uint16_t period_ms;
    uint8_t count;
    struct channel channels[TABLE_CHANNELS];
};

enum table_state {
    TABLE_SOUND,
    TABLE_BLANK, /* no magic: never written */
    TABLE_SPOILT /* a table was meant, and it is not one */
};

typedef uint8_t (*table_reader)(uint16_t address);

/* Reads and checks an image; `table` is usable only if the answer is TABLE_SOUND. */
enum table_state table_load(struct table *table, table_reader read);

/* "<name>:<source>:<detail>" as in a hello frame. */
void table_describe(const struct channel *channel, struct frame *frame);

#endif
