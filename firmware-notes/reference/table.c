#include "table.h"

#include "crc16.h"
#include "flash.h"

#define MAGIC_BYTES 4u

/* What "H1,<seq>,<uptime>,<firmware>,<period>," and the closing can take at most. */
#define HELLO_FRAME_BYTES (2u + 11u + 11u + 33u + 6u + 1u + 7u)

static const char magic[] FLASH_CONST = "WSC1";

struct cursor {
    table_reader read;
    uint16_t address;
    uint16_t crc;
};

static uint8_t next_byte(struct cursor *at)
{
    uint8_t byte = at->read(at->address++);

    at->crc = crc16_add(at->crc, byte);
    return byte;
}

static uint16_t next_u16(struct cursor *at)
{
    uint8_t low = next_byte(at);

    return (uint16_t)(low | (uint16_t)((uint16_t)next_byte(at) << 8));
}

static bool is_name_symbol(char symbol, bool first)
{
    bool letter = symbol >= 'a' && symbol <= 'z';

    return letter || (!first && ((symbol >= '0' && symbol <= '9') || symbol == '_'));
}

static bool read_name(struct cursor *at, char *name)
{
    bool ended = false;
    bool sound = true;

    for (uint8_t i = 0; i < TABLE_NAME; i++) {
        char symbol = (char)next_byte(at);

        ended = ended || symbol == '\0';
        sound = sound && (ended ? symbol == '\0' : is_name_symbol(symbol, i == 0u));
        name[i] = symbol;
    }
    name[TABLE_NAME] = '\0';
    return sound && name[0] != '\0';
}

static uint16_t shortest_period_ms(uint8_t source)
{
    switch (source) {
    case SOURCE_MAX6675:
        return 250u; /* up to 220 ms for a conversion, started over at each read */
    case SOURCE_MCP9600:
        return 500u; /* three conversions a second at 18 bits */
    default:
        return TABLE_SHORTEST_MS;
    }
}

static bool is_place(const struct channel *channel, uint8_t first, uint8_t count)
{
    return channel->where >= first && channel->where < first + count;
}

static bool is_one_of(char letter, const char *letters)
{
    for (; flash_byte(letters) != '\0'; letters++) {
        if ((char)flash_byte(letters) == letter) {
            return true;
        }
    }
    return false;
}

static bool is_wired(const struct channel *channel)
{
    switch (channel->source) {
    case SOURCE_MAX31855:
        return is_place(channel, 1u, TABLE_SELECTS)
               && is_one_of(channel->detail, FLASH_TEXT("KJNTERS"));
    case SOURCE_MAX31856:
        return is_place(channel, 1u, TABLE_SELECTS)
               && is_one_of(channel->detail, FLASH_TEXT("KJTNERSB"));
    case SOURCE_MAX6675:
        return is_place(channel, 1u, TABLE_SELECTS) && channel->detail == 'K';
    case SOURCE_MCP9600:
        return is_place(channel, 0u, TABLE_I2C)
               && is_one_of(channel->detail, FLASH_TEXT("KJTNERSB"));
    case SOURCE_STATE:
        return is_place(channel, 1u, TABLE_INPUTS) && channel->detail == '\0'
               && channel->scale <= 1u;
    case SOURCE_VALUE:
        return channel->where == TABLE_ANALOGUE && channel->detail == 'v'
               && channel->scale > 0u;
    case SOURCE_PULSE:
        return is_place(channel, 1u, TABLE_PULSES)
               && (channel->detail == 'l' || channel->detail == 'r') && channel->scale > 0u;
    default:
        return false;
    }
}

static bool same_text(const char *one, const char *other)
{
    while (*one != '\0' && *one == *other) {
        one++;
        other++;
    }
    return *one == *other;
}

static bool is_select(uint8_t source)
{
    return source == SOURCE_MAX31855 || source == SOURCE_MAX6675 || source == SOURCE_MAX31856;
}

/* Two channels on one pin would read the same thing twice, and a drop between them of
 * exactly zero would be believed.
 */
static bool same_place(const struct channel *one, const struct channel *other)
{
    return one->where == other->where
           && (one->source == other->source
               || (is_select(one->source) && is_select(other->source)));
}

static bool is_new(const struct table *table, uint8_t count)
{
    const struct channel *last = &table->channels[count];

    for (uint8_t i = 0; i < count; i++) {
        if (same_text(table->channels[i].name, last->name)
            || same_place(&table->channels[i], last)) {
            return false;
        }
    }
    return true;
}

static uint16_t described_bytes(const struct channel *channel)
{
    uint16_t bytes = 12u; /* ":max31855:K;", the longest of its kind */

    for (const char *symbol = channel->name; *symbol != '\0'; symbol++) {
        bytes++;
    }
    return bytes;
}

static bool read_channel(struct cursor *at, struct table *table, uint8_t index)
{
    struct channel *channel = &table->channels[index];
    bool named = read_name(at, channel->name);

    channel->source = next_byte(at);
    channel->detail = (char)next_byte(at);
    channel->where = next_byte(at);
    channel->scale = next_u16(at);
    return named && is_wired(channel) && is_new(table, index)
           && table->period_ms >= shortest_period_ms(channel->source);
}

static bool read_channels(struct cursor *at, struct table *table)
{
    uint16_t hello_bytes = HELLO_FRAME_BYTES;

    for (uint8_t i = 0; i < table->count; i++) {
        if (!read_channel(at, table, i)) {
            return false;
        }
        hello_bytes = (uint16_t)(hello_bytes + described_bytes(&table->channels[i]));
    }
    return hello_bytes <= FRAME_LONGEST;
}

static bool is_blank(table_reader read)
{
    for (uint16_t address = 0; address < TABLE_BYTES; address++) {
        if (read(address) != 0xFFu) {
            return false;
        }
    }
    return true;
}

static bool read_image(struct cursor *at, struct table *table)
{
    for (uint8_t i = 0; i < MAGIC_BYTES; i++) {
        if (next_byte(at) != flash_byte(&magic[i])) {
            return false;
        }
    }
    table->period_ms = next_u16(at);
    table->count = next_byte(at);
    if (table->period_ms < TABLE_SHORTEST_MS || table->period_ms > TABLE_LONGEST_MS
        || table->count < 1u || table->count > TABLE_CHANNELS || !read_channels(at, table)) {
        return false;
    }
    table->crc = at->crc;
    return next_u16(at) == table->crc;
}

enum table_state table_load(struct table *table, table_reader read)
{
    struct cursor at = {.read = read, .address = 0u, .crc = CRC16_START};

    if (read_image(&at, table)) {
        return TABLE_SOUND;
    }
    table->count = 0;
    return is_blank(read) ? TABLE_BLANK : TABLE_SPOILT;
}

static const char *source_name(uint8_t source)
{
    switch (source) {
    case SOURCE_MAX31855:
        return FLASH_TEXT("max31855");
    case SOURCE_MAX6675:
        return FLASH_TEXT("max6675");
    case SOURCE_MAX31856:
        return FLASH_TEXT("max31856");
    case SOURCE_MCP9600:
        return FLASH_TEXT("mcp9600");
    case SOURCE_STATE:
        return FLASH_TEXT("state");
    default:
        return FLASH_TEXT("value");
    }
}

void table_describe(const struct channel *channel, struct frame *frame)
{
    frame_text(frame, channel->name);
    frame_char(frame, ':');
    frame_flash(frame, source_name(channel->source));
    frame_char(frame, ':');
    if (channel->source == SOURCE_PULSE) {
        frame_flash(frame, channel->detail == 'l' ? FLASH_TEXT("lpm") : FLASH_TEXT("rpm"));
    } else if (channel->detail != '\0') {
        frame_char(frame, channel->detail);
    }
}
