/* The channel table: what is wired where, and how often it is read.
 *
 * Image, little-endian, in the EEPROM from address 16 (a supply that dies while something
 * writes there spoils address 0 first) and in flash:
 *
 *   magic     (4): "WSC1"
 *   period_ms (2): 100..60000, and no shorter than the slowest converter allows
 *   count     (1): 1..16 channels
 *   channel  (21 each):
 *     name   (16): [a-z][a-z0-9_]*, zero-filled, unique
 *     source  (1): enum source
 *     detail  (1): thermocouple letter; first letter of the unit (v lpm rpm); 0 for a state
 *     where   (1): chip select 1..6, I2C address 0x60 + 0..7, input 1..3, analogue input 3
 *                  or pulse input 1..2; no place twice
 *     scale   (2): state: 1 if a low pin means "on"; value: mV at full scale; pulse: tenths
 *                  of a pulse per litre or per revolution
 *   crc       (2): CRC-16/IBM-3740 of every byte before it
 *
 * Memory that is erased from end to end is blank; anything else that is not a sound image is
 * a spoilt one, so a table with a damaged magic never counts as none.
 *
 * The chip never writes the EEPROM, so a supply that dies cannot spoil the table.
 */
#ifndef TABLE_H
#define TABLE_H

#include <stdbool.h>
#include <stdint.h>

#include "frame.h"

#ifdef __cplusplus
extern "C" {
#endif

#define TABLE_CHANNELS 16u
#define TABLE_NAME 16u
#define TABLE_SELECTS 6u
#define TABLE_INPUTS 3u
#define TABLE_ANALOGUE 3u /* the one analogue input: ADC3 */
#define TABLE_PULSES 2u
#define TABLE_I2C 8u
#define TABLE_EEPROM_AT 16u
#define TABLE_CHANNEL_BYTES 21u
#define TABLE_BYTES (4u + 3u + TABLE_CHANNELS * TABLE_CHANNEL_BYTES + 2u) /* of the longest */
#define TABLE_SHORTEST_MS 100u
#define TABLE_LONGEST_MS 60000u

enum source {
    SOURCE_MAX31855 = 1,
    SOURCE_MAX6675 = 2,
    SOURCE_MAX31856 = 3,
    SOURCE_STATE = 4,
    SOURCE_VALUE = 5,
    SOURCE_MCP9600 = 6,
    SOURCE_PULSE = 7
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
    uint16_t crc; /* the image's own: which table this is */
    struct channel channels[TABLE_CHANNELS];
};

enum table_state {
    TABLE_SOUND,
    TABLE_BLANK, /* all ones: never written */
    TABLE_SPOILT /* something is there, and it is no table */
};

typedef uint8_t (*table_reader)(uint16_t address);

/* Reads and checks an image; without one the answer is not TABLE_SOUND and `table` is empty. */
enum table_state table_load(struct table *table, table_reader read);

/* "<name>:<source>:<detail>" as in a hello frame. */
void table_describe(const struct channel *channel, struct frame *frame);

#ifdef __cplusplus
}
#endif

#endif
