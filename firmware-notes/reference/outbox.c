#include "outbox.h"

#include "flash.h"

#define OVERRUN_BYTES 52u /* "E1,<10>,<10>,overrun,<10>*<4>" CR LF, rounded up */

static void finish(struct outbox *outbox, struct frame *frame)
{
    if (!frame_end(frame)) {
        outbox->lost++;
    }
    outbox->seq++;
}

void outbox_hello(struct outbox *outbox, uint32_t uptime_ms, const struct table *table)
{
    struct frame frame;

    frame_begin(&frame, outbox->ring, 'H', outbox->seq, uptime_ms);
    frame_char(&frame, ',');
    frame_flash(&frame, outbox->firmware_in_flash);
    frame_char(&frame, ',');
    frame_decimal(&frame, table->period_ms);
    for (uint8_t i = 0; i < table->count; i++) {
        frame_char(&frame, i == 0u ? ',' : ';');
        table_describe(&table->channels[i], &frame);
    }
    finish(outbox, &frame);
}

void outbox_reading(struct outbox *outbox, uint32_t uptime_ms, const struct table *table,
                    outbox_field fill)
{
    struct frame frame;

    frame_begin(&frame, outbox->ring, 'R', outbox->seq, uptime_ms);
    for (uint8_t i = 0; i < table->count; i++) {
        frame_char(&frame, ',');
        fill(&frame, &table->channels[i], uptime_ms);
    }
    finish(outbox, &frame);
}

static void begin_event(struct outbox *outbox, struct frame *frame, uint32_t uptime_ms,
                        const char *code_in_flash)
{
    frame_begin(frame, outbox->ring, 'E', outbox->seq, uptime_ms);
    frame_char(frame, ',');
    frame_flash(frame, code_in_flash);
    frame_char(frame, ',');
}

void outbox_event(struct outbox *outbox, uint32_t uptime_ms, const char *code_in_flash,
                  const char *detail_in_flash)
{
    struct frame frame;

    begin_event(outbox, &frame, uptime_ms, code_in_flash);
    frame_flash(&frame, detail_in_flash);
    finish(outbox, &frame);
}

void outbox_table(struct outbox *outbox, uint32_t uptime_ms, const char *memory_in_flash,
                  uint16_t crc)
{
    struct frame frame;
    uint8_t bytes[2] = {(uint8_t)(crc >> 8), (uint8_t)crc};

    begin_event(outbox, &frame, uptime_ms, FLASH_TEXT("note"));
    frame_flash(&frame, FLASH_TEXT("table-"));
    frame_flash(&frame, memory_in_flash);
    frame_char(&frame, '-');
    frame_hex(&frame, bytes, sizeof bytes);
    finish(outbox, &frame);
}

void outbox_overrun(struct outbox *outbox, uint32_t uptime_ms)
{
    struct frame frame;

    if (outbox->lost == 0u || ring_room(outbox->ring) < OVERRUN_BYTES) {
        return;
    }
    begin_event(outbox, &frame, uptime_ms, FLASH_TEXT("overrun"));
    frame_decimal(&frame, outbox->lost);
    outbox->lost = 0u;
    finish(outbox, &frame);
}
