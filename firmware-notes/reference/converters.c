#include "converters.h"

#include <stdbool.h>

#include "spi.h"

/* MAX31856 registers and settings, from its data sheet. */
#define WRITE 0x80u
#define REGISTER_CR0 0x00u
#define REGISTER_COLD 0x0Au /* 0A 0B cold junction, 0C 0D 0E linearised, 0F faults */
#define CR0_CONTINUOUS 0x80u
#define CR0_OPEN_CHECK 0x10u
#define CR0_REJECT_50HZ 0x01u

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
 * 0 degrees until then, which is a temperature and would be believed.
 */
#define FIRST_CONVERSION_MS 250u

static uint32_t set_at_ms[TABLE_SELECTS];
static bool settling[TABLE_SELECTS];

static uint8_t type_code(char letter)
{
    static const char letters[] = "BEJKNRST"; /* the part's own order, 0..7 */
    uint8_t code = 0;

    while (code < 7u && letters[code] != letter) {
        code++;
    }
    return code;
}

static void set_up(const struct channel *channel, uint32_t now_ms)
{
    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(WRITE | REGISTER_CR0);
    spi_swap(CR0_WANTED);
    spi_swap(type_code(channel->detail)); /* CR1 follows CR0 */
    spi_close(channel->where);
    set_at_ms[channel->where - 1u] = now_ms;
    settling[channel->where - 1u] = true;
}

/* A part that lost its supply for a moment comes back with settings of its own, and would
 * go on for ever with one old conversion. So its settings are read back every time.
 */
static bool is_set_up(const struct channel *channel)
{
    uint8_t cr0;
    uint8_t cr1;

    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(REGISTER_CR0);
    cr0 = spi_swap(0);
    cr1 = spi_swap(0);
    spi_close(channel->where);
    return cr0 == CR0_WANTED && cr1 == type_code(channel->detail);
}

static bool is_settled(const struct channel *channel, uint32_t now_ms)
{
    uint8_t index = (uint8_t)(channel->where - 1u);

    if (settling[index] && now_ms - set_at_ms[index] >= FIRST_CONVERSION_MS) {
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
static void read_linearised(const struct channel *channel, uint8_t *word)
{
    spi_open(channel->where, SPI_SECOND_EDGE);
    spi_swap(REGISTER_COLD);
    word[3] = spi_swap(0);
    word[4] = spi_swap(0);
    word[0] = spi_swap(0);
    word[1] = spi_swap(0);
    word[2] = spi_swap(0);
    word[5] = spi_swap(0);
    spi_close(channel->where);
}

static bool is_bare_bus(const uint8_t *word)
{
    uint8_t all = 0xFFu;

    for (uint8_t i = 0; i < CONVERTER_WORD; i++) {
        all &= word[i];
    }
    return all == 0xFFu;
}

static uint8_t read_checked(const struct channel *channel, uint32_t now_ms, uint8_t *word)
{
    bool set = is_set_up(channel);

    read_linearised(channel, word);
    if (!set) {
        set_up(channel, now_ms);
        /* All ones is no old conversion but an absent part: the host can say so. */
        return is_bare_bus(word) ? CONVERTER_WORD : 0u;
    }
    return is_settled(channel, now_ms) ? CONVERTER_WORD : 0u;
}

void converters_begin(const struct table *table, uint32_t now_ms)
{
    spi_begin();
    for (uint8_t i = 0; i < table->count; i++) {
        if (table->channels[i].source == SOURCE_MAX31856) {
            set_up(&table->channels[i], now_ms);
        }
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
    default:
        return read_checked(channel, now_ms, word);
    }
}
