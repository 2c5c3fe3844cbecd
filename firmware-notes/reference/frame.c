#include "frame.h"

#include "crc16.h"
#include "flash.h"

#define CLOSING_BYTES 7u /* '*', four digits, CR, LF */

static const char hex_digits[] FLASH_CONST = "0123456789ABCDEF";

static const uint32_t powers_of_ten[] FLASH_CONST = {
    1000000000u, 100000000u, 10000000u, 1000000u, 100000u, 10000u, 1000u, 100u, 10u, 1u,
};

#define POWERS (sizeof powers_of_ten / sizeof powers_of_ten[0])

static char hex_digit(uint8_t nibble)
{
    return (char)flash_byte(&hex_digits[nibble & 0x0Fu]);
}

static void put(struct frame *frame, char symbol)
{
    if (!frame->fits || !ring_put(frame->ring, (uint8_t)symbol)) {
        frame->fits = false;
        return;
    }
    frame->length++;
}

void frame_begin(struct frame *frame, struct ring *ring, char kind, uint32_t seq,
                 uint32_t uptime_ms)
{
    frame->ring = ring;
    frame->crc = CRC16_START;
    frame->length = 0;
    frame->fits = true;
    ring_draft(ring);
    frame_char(frame, kind);
    frame_char(frame, FRAME_VERSION);
    frame_char(frame, ',');
    frame_decimal(frame, seq);
    frame_char(frame, ',');
    frame_decimal(frame, uptime_ms);
}

void frame_char(struct frame *frame, char symbol)
{
    if (frame->length >= FRAME_LONGEST - CLOSING_BYTES) {
        frame->fits = false;
    }
    frame->crc = crc16_add(frame->crc, (uint8_t)symbol);
    put(frame, symbol);
}

void frame_text(struct frame *frame, const char *text)
{
    for (; *text != '\0'; text++) {
        frame_char(frame, *text);
    }
}

void frame_flash(struct frame *frame, const char *text_in_flash)
{
    char symbol;

    while ((symbol = (char)flash_byte(text_in_flash)) != '\0') {
        frame_char(frame, symbol);
        text_in_flash++;
    }
}

/* Counts subtractions instead of dividing: the chip has no divider, and ten 32-bit
 * divisions by software take longer than reading all six converters.
 */
void frame_decimal(struct frame *frame, uint32_t value)
{
    bool started = false;

    for (uint8_t place = 0; place < POWERS; place++) {
        uint32_t power = flash_u32(&powers_of_ten[place]);
        char digit = '0';

        while (value >= power) {
            value -= power;
            digit++;
        }
        started = started || digit != '0' || power == 1u;
        if (started) {
            frame_char(frame, digit);
        }
    }
}

void frame_hundredths(struct frame *frame, uint32_t value)
{
    uint32_t whole = value / 100u;
    uint8_t rest = (uint8_t)(value - whole * 100u);

    frame_decimal(frame, whole);
    frame_char(frame, '.');
    frame_char(frame, (char)('0' + rest / 10u));
    frame_char(frame, (char)('0' + rest % 10u));
}

void frame_hex(struct frame *frame, const uint8_t *bytes, uint8_t count)
{
    for (uint8_t i = 0; i < count; i++) {
        frame_char(frame, hex_digit(bytes[i] >> 4));
        frame_char(frame, hex_digit(bytes[i]));
    }
}

bool frame_end(struct frame *frame)
{
    uint16_t crc = frame->crc;

    put(frame, '*');
    put(frame, hex_digit((uint8_t)(crc >> 12)));
    put(frame, hex_digit((uint8_t)(crc >> 8)));
    put(frame, hex_digit((uint8_t)(crc >> 4)));
    put(frame, hex_digit((uint8_t)crc));
    put(frame, '\r');
    put(frame, '\n');
    if (frame->fits) {
        ring_commit(frame->ring);
    }
    return frame->fits;
}
