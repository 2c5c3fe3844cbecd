#include "parts.h"

#include <string.h>

#define CR0 0x00
#define CR1 0x01
#define COLD 0x0A
#define CONTINUOUS 0x80
#define FIRST_CONVERSION_MS 185 /* one conversion with 50 Hz rejection; from memory of the data sheet */
#define BARE_BUS 0xFF

/* Power-up values of registers 00..0F; no conversion yet, so 0 degrees in 0A..0E. */
static const uint8_t power_up[PART_REGISTERS] = {
    0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0x00, 0x00, 0, 0, 0, 0, 0, 0,
};

void part_power(struct part *part)
{
    memcpy(part->registers, power_up, sizeof power_up);
    part->selected = false;
    part->position = 0;
}

uint8_t part_word_bytes(enum part_kind kind)
{
    switch (kind) {
    case PART_MAX31855:
        return 4;
    case PART_MAX6675:
        return 2;
    default:
        return 6;
    }
}

/* A conversion appears in the registers some time after continuous conversion was asked for. */
static void convert(struct part *part)
{
    if ((part->registers[CR0] & CONTINUOUS) == 0
        || part->now_ms < part->asked_ms + FIRST_CONVERSION_MS) {
        return;
    }
    memcpy(part->registers + COLD, part->word + 3, 2);
    memcpy(part->registers + COLD + 2, part->word, 3);
    part->registers[COLD + 5] = part->word[5];
}

void part_select(struct part *part)
{
    part->selected = true;
    part->position = 0;
    part->last = 0;
    memcpy(part->latched, part->word, sizeof part->latched);
}

void part_release(struct part *part)
{
    part->selected = false;
}

static uint8_t exchange_register(struct part *part, uint8_t byte)
{
    if (part->position == 0) {
        convert(part);
        part->address = byte;
        return 0;
    }
    uint8_t index = part->address & (PART_REGISTERS - 1);
    uint8_t answer = part->registers[index];

    /* Conversions and the fault status are read only. */
    if ((part->address & 0x80) != 0 && index < COLD) {
        part->registers[index] = byte;
        part->asked_ms = part->now_ms;
        answer = 0;
    }
    part->address = (uint8_t)((part->address & 0x80) | ((index + 1) & (PART_REGISTERS - 1)));
    return answer;
}

static uint8_t sound_exchange(struct part *part, uint8_t byte)
{
    if (part->kind == PART_MAX31856) {
        return exchange_register(part, byte);
    }
    return part->position < part_word_bytes(part->kind) ? part->latched[part->position]
                                                        : BARE_BUS;
}

uint8_t part_exchange(struct part *part, uint8_t byte, uint8_t phase)
{
    uint8_t wanted_phase = part->kind == PART_MAX31856 ? 1 : 0;
    uint8_t answer;
    uint8_t last = part->last;

    if (!part->present) {
        return BARE_BUS;
    }
    if (part->stuck || part->jammed) {
        return 0;
    }
    answer = sound_exchange(part, byte);
    part->position++;
    part->last = answer;
    return phase == wanted_phase ? answer : (uint8_t)(last << 7 | answer >> 1);
}

/* Power-up values: type K without filter; 18 bits, normal mode. The emulated part powers up
 * with another type, as a program before may have left it: a controller that trusts power-up
 * values is found out.
 */
#define SENSOR 0x05
#define DEVICE 0x06

void i2c_part_power(struct i2c_part *part)
{
    part->sensor = 0x37;
    part->device = 0x01;
    part->selected = false;
}

void i2c_part_write(struct i2c_part *part, uint8_t byte)
{
    if (!part->is_pointed) {
        part->pointer = byte;
        part->is_pointed = true;
    } else if (part->pointer == SENSOR) {
        part->sensor = byte;
    } else if (part->pointer == DEVICE) {
        part->device = byte;
    }
}

uint8_t i2c_part_read(struct i2c_part *part)
{
    uint8_t at = part->position++;

    switch (part->pointer) {
    case 0x00:
    case 0x02:
        return at < 2 ? part->word[part->pointer + at] : BARE_BUS;
    case 0x04:
        return part->word[4];
    case SENSOR:
        return part->sensor;
    case DEVICE:
        return part->device;
    default:
        return BARE_BUS;
    }
}
