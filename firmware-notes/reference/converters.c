#include "converters.h"

#include <stdbool.h>

#include "flash.h"
#include "spi.h"
#include "twi.h"

/* MAX31856 registers and settings, from its data sheet. */
#define WRITE 0x80u
#define REGISTER_CR0 0x00u
#define REGISTERS 16u
#define SETTINGS 10u /* 00..09; then 0A 0B cold junction, 0C 0D 0E linearised, 0F faults */
#define CR0_CONTINUOUS 0x80u
#define CR0_OPEN_CHECK 0x10u
#define CR0_REJECT_50HZ 0x01u

/* MCP9600 registers and settings, from its data sheet. */
#define I2C_FIRST 0x60u
#define REGISTER_HOT 0x00u
#define REGISTER_JUNCTION 0x02u
#define REGISTER_STATUS 0x04u
#define REGISTER_SENSOR 0x05u
#define REGISTER_DEVICE 0x06u
#define DEVICE_WANTED 0x00u /* 18 bits, no burst, normal */

/* Reject hum at 50 Hz unless built with MAINS_HZ=60. */
#ifndef MAINS_HZ
#define MAINS_HZ 50
#endif
#if MAINS_HZ == 60
#define CR0_WANTED (CR0_CONTINUOUS | CR0_OPEN_CHECK)
#else
#define CR0_WANTED (CR0_CONTINUOUS | CR0_OPEN_CHECK | CR0_REJECT_50HZ)
#endif

/* First conversion after a change of settings, with the open check; the registers read
 * 0 degrees until then, which is a temperature and would be believed. The I2C part at 18 bits
 * takes a third of a second.
 */
#define FIRST_CONVERSION_MS 250u
#define FIRST_I2C_CONVERSION_MS 400u

/* Registers 01..09 as wanted; the first carries the thermocouple's letter. Limits at the ends
 * of their range and no offset of the cold junction: these are the values the part powers up
 * with, written all the same, because an upset or another program can have changed them.
 */
static const uint8_t settings[SETTINGS] FLASH_CONST = {
    CR0_WANTED, 0x00, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00,
};

static uint32_t set_at_ms[TABLE_SELECTS + TABLE_I2C];
static bool settling[TABLE_SELECTS + TABLE_I2C];

static uint8_t code_of(char letter, const char *letters_in_flash)
{
    uint8_t code = 0;

    while (code < 7u && (char)flash_byte(&letters_in_flash[code]) != letter) {
        code++;
    }
    return code;
}

static uint8_t setting(const struct channel *channel, uint8_t reg)
{
    /* The part's own order of letters, 0..7; no averaging. */
    return reg == 1u ? code_of(channel->detail, FLASH_TEXT("BEJKNRST"))
                     : flash_byte(&settings[reg]);
}

static uint8_t index_of(const struct channel *channel)
{
    return channel->source == SOURCE_MCP9600 ? (uint8_t)(TABLE_SELECTS + channel->where)
                                             : (uint8_t)(channel->where - 1u);
}

static void starts_anew(const struct channel *channel, uint32_t now_ms)
{
    set_at_ms[index_of(channel)] = now_ms;
    settling[index_of(channel)] = true;
}

static void write_cr0(const struct channel *channel, uint8_t value)
{
    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(WRITE | REGISTER_CR0);
    spi_swap(value);
    spi_close(channel->where);
}

/* The hum filter may be changed only while the part does not convert. */
static void set_up(const struct channel *channel, uint32_t now_ms)
{
    write_cr0(channel, (uint8_t)(CR0_WANTED & ~CR0_CONTINUOUS));
    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(WRITE | (REGISTER_CR0 + 1u));
    for (uint8_t reg = 1u; reg < SETTINGS; reg++) {
        spi_swap(setting(channel, reg));
    }
    spi_close(channel->where);
    write_cr0(channel, CR0_WANTED);
    starts_anew(channel, now_ms);
}

static bool is_settled(const struct channel *channel, uint32_t now_ms, uint16_t first_ms)
{
    uint8_t index = index_of(channel);

    if (settling[index] && now_ms - set_at_ms[index] >= first_ms) {
        settling[index] = false;
    }
    return !settling[index];
}

static void read_plain(const struct channel *channel, uint8_t *word, uint8_t bytes)
{
    spi_open(channel->where, SPI_FIRST_EDGE);
    for (uint8_t i = 0; i < bytes; i++) {
        word[i] = spi_swap(0);
    }
    spi_close(channel->where);
}

/* The frame wants the linearised temperature first; the registers begin with the cold
 * junction.
 */
static void take_word(const uint8_t *registers, uint8_t *word)
{
    const uint8_t *results = registers + SETTINGS;

    word[0] = results[2];
    word[1] = results[3];
    word[2] = results[4];
    word[3] = results[0];
    word[4] = results[1];
    word[5] = results[5];
}

static bool is_all(const uint8_t *registers, uint8_t byte)
{
    for (uint8_t i = 0; i < REGISTERS; i++) {
        if (registers[i] != byte) {
            return false;
        }
    }
    return true;
}

static bool is_set_up(const struct channel *channel, const uint8_t *registers)
{
    for (uint8_t reg = 0; reg < SETTINGS; reg++) {
        if (registers[reg] != setting(channel, reg)) {
            return false;
        }
    }
    return true;
}

/* A part that lost its supply for a moment comes back with settings of its own, and would go
 * on for ever with one old conversion. So its settings are read back every time.
 */
static uint8_t read_linearised(const struct channel *channel, uint32_t now_ms, uint8_t *word)
{
    uint8_t registers[REGISTERS];

    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(REGISTER_CR0);
    for (uint8_t reg = 0; reg < REGISTERS; reg++) {
        registers[reg] = spi_swap(0);
    }
    spi_close(channel->where);
    take_word(registers, word);
    /* A line that only ever says one thing is no old conversion but an absent or dead part,
     * and the host can say so.
     */
    if (is_all(registers, 0xFFu) || is_all(registers, 0u)) {
        return 6u;
    }
    if (!is_set_up(channel, registers)) {
        set_up(channel, now_ms);
    }
    return is_settled(channel, now_ms, FIRST_CONVERSION_MS) ? 6u : 0u;
}

static uint8_t sensor_wanted(const struct channel *channel)
{
    /* Type in bits 6:4 in the part's own order; no filter. */
    return (uint8_t)(code_of(channel->detail, FLASH_TEXT("KJTNSEBR")) << 4);
}

static uint8_t read_i2c(const struct channel *channel, uint32_t now_ms, uint8_t *word)
{
    uint8_t address = (uint8_t)(I2C_FIRST + channel->where);
    uint8_t set[2];

    if (!twi_read(address, REGISTER_SENSOR, &set[0], 1u)
        || !twi_read(address, REGISTER_DEVICE, &set[1], 1u)) {
        return 0;
    }
    if (set[0] != sensor_wanted(channel) || set[1] != DEVICE_WANTED) {
        twi_write(address, REGISTER_SENSOR, sensor_wanted(channel));
        twi_write(address, REGISTER_DEVICE, DEVICE_WANTED);
        starts_anew(channel, now_ms);
    }
    if (!is_settled(channel, now_ms, FIRST_I2C_CONVERSION_MS)) {
        return 0;
    }
    return twi_read(address, REGISTER_HOT, word, 2u)
                   && twi_read(address, REGISTER_JUNCTION, word + 2, 2u)
                   && twi_read(address, REGISTER_STATUS, word + 4, 1u)
               ? 5u
               : 0u;
}

void converters_begin(const struct table *table, uint32_t now_ms)
{
    bool any_i2c = false;

    spi_begin();
    for (uint8_t i = 0; i < table->count; i++) {
        if (table->channels[i].source == SOURCE_MAX31856) {
            set_up(&table->channels[i], now_ms);
        } else if (table->channels[i].source == SOURCE_MCP9600) {
            starts_anew(&table->channels[i], now_ms);
            any_i2c = true;
        }
    }
    if (any_i2c) {
        twi_begin();
    }
}

uint8_t converter_read(const struct channel *channel, uint32_t now_ms,
                       uint8_t word[CONVERTER_WORD])
{
    switch (channel->source) {
    case SOURCE_MAX31855:
        read_plain(channel, word, 4u);
        return 4u;
    case SOURCE_MAX6675:
        read_plain(channel, word, 2u);
        return 2u;
    case SOURCE_MAX31856:
        return read_linearised(channel, now_ms, word);
    default:
        return read_i2c(channel, now_ms, word);
    }
}
