/* The firmware's portable modules behind a line of text: one order, one answer.
 *
 * Built with the sanitizers, so a test that makes a module read or write outside its
 * memory ends the program and fails.
 */
#define _GNU_SOURCE
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cause.h"
#include "crc16.h"
#include "debounce.h"
#include "outbox.h"
#include "pulse.h"
#include "ring.h"
#include "schedule.h"
#include "table.h"

#define MOST 4096
#define WORDS 4100

static char *words[WORDS];
static int count;
static uint8_t memory[MOST];
static struct ring ring;
static struct outbox outbox = {.ring = &ring};
static struct table table;
static uint8_t image[MOST];
static size_t image_bytes;

static uint32_t number(int index)
{
    return index < count ? (uint32_t)strtoull(words[index], NULL, 10) : 0;
}

static size_t bytes_of(const char *hex, uint8_t *bytes)
{
    size_t length = strlen(hex) / 2;

    for (size_t i = 0; i < length; i++) {
        unsigned int byte = 0;

        sscanf(hex + 2 * i, "%2x", &byte);
        bytes[i] = (uint8_t)byte;
    }
    return length;
}

static uint8_t read_image(uint16_t address)
{
    return address < image_bytes ? image[address] : 0xFF;
}

static void answer_bytes(const uint8_t *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        printf("%02X", bytes[i]);
    }
    putchar('\n');
}

static void obey_crc(void)
{
    uint8_t bytes[MOST];
    size_t length = count > 1 ? bytes_of(words[1], bytes) : 0;
    uint16_t crc = CRC16_START;

    for (size_t i = 0; i < length; i++) {
        crc = crc16_add(crc, bytes[i]);
    }
    printf("%04X\n", crc);
}

static void obey_ring(void)
{
    ring_begin(&ring, memory, (uint16_t)number(1));
    outbox.seq = number(2);
    outbox.lost = 0;
    puts("ok");
}

static void obey_put(void)
{
    uint8_t bytes[MOST];
    size_t length = bytes_of(words[1], bytes);
    size_t taken = 0;

    ring_draft(&ring);
    while (taken < length && ring_put(&ring, bytes[taken])) {
        taken++;
    }
    if (taken == length) {
        ring_commit(&ring);
    }
    printf("%zu\n", taken);
}

static void obey_take(void)
{
    uint8_t bytes[MOST];
    size_t length = 0;

    while (length < number(1) && ring_take(&ring, &bytes[length])) {
        length++;
    }
    answer_bytes(bytes, length);
}

static void obey_room(void)
{
    printf("%u\n", ring_room(&ring));
}

static void obey_lost(void)
{
    printf("%" PRIu32 "\n", outbox.lost);
}

static void obey_table(void)
{
    static const char *const states[] = {"sound", "blank", "spoilt"};

    image_bytes = bytes_of(words[1], image);
    printf("%s", states[table_load(&table, read_image)]);
    if (table.count != 0) {
        printf(" %04X", table.crc);
    }
    putchar('\n');
}

static void obey_hello(void)
{
    outbox.firmware_in_flash = words[2];
    outbox_hello(&outbox, number(1), &table);
    puts("ok");
}

/* Fields come as "x<hex>", "c<character>", "h<hundredths>" or "-" for no reading. */
static int next_field;

static void fill(struct frame *frame, const struct channel *channel, uint32_t uptime_ms)
{
    const char *field = words[next_field++];
    uint8_t bytes[MOST];

    (void)channel;
    (void)uptime_ms;
    if (field[0] == 'x') {
        frame_hex(frame, bytes, (uint8_t)bytes_of(field + 1, bytes));
    } else if (field[0] == 'c') {
        frame_char(frame, field[1]);
    } else if (field[0] == 'h') {
        frame_hundredths(frame, (uint32_t)strtoull(field + 1, NULL, 10));
    }
}

static void obey_reading(void)
{
    struct table fields = {.count = (uint8_t)(count - 2)};

    next_field = 2;
    outbox_reading(&outbox, number(1), &fields, fill);
    puts("ok");
}

static void obey_event(void)
{
    outbox_event(&outbox, number(1), words[2], words[3]);
    puts("ok");
}

static void obey_overrun(void)
{
    outbox_overrun(&outbox, number(1));
    puts("ok");
}

static void obey_raw(void)
{
    struct frame frame;

    frame_begin(&frame, &ring, words[1][0], number(2), number(3));
    frame_char(&frame, ',');
    frame_text(&frame, words[4]);
    puts(frame_end(&frame) ? "sent" : "dropped");
}

static void obey_schedule(void)
{
    struct schedule schedule = {.due_ms = number(1), .period_ms = number(2)};

    for (int i = 3; i < count; i++) {
        putchar(schedule_due(&schedule, number(i)) ? '1' : '0');
    }
    putchar('\n');
}

static void obey_press(void)
{
    struct debounce button = {0, false};

    for (const char *look = words[1]; *look != '\0'; look++) {
        putchar(debounce_pressed(&button, *look == '1') ? '1' : '0');
    }
    putchar('\n');
}

/* "pulse <tenths>" starts a meter; "pulse <tenths> <edges> <last_us> <now_us>" reads it. */
static void obey_pulse(void)
{
    static struct pulse_meter meter;
    struct pulse_count counted = {number(2), number(3)};
    uint32_t hundredths;

    if (count == 2) {
        meter = (struct pulse_meter){.is_timed = false};
        puts("ok");
    } else if (pulse_hundredths(&meter, counted, number(4), (uint16_t)number(1), &hundredths)) {
        printf("%" PRIu32 "\n", hundredths);
    } else {
        puts("-");
    }
}

static void obey_note(void)
{
    outbox_table(&outbox, number(1), words[2], (uint16_t)number(3));
    puts("ok");
}

static void obey_cause(void)
{
    puts(cause_name((uint8_t)number(1)));
}

static const struct {
    const char *name;
    void (*obey)(void);
    int fewest;
} orders[] = {
    {"crc", obey_crc, 1},         {"ring", obey_ring, 3},   {"put", obey_put, 2},
    {"take", obey_take, 2},       {"room", obey_room, 1},   {"lost", obey_lost, 1},
    {"table", obey_table, 2},     {"hello", obey_hello, 3}, {"reading", obey_reading, 3},
    {"event", obey_event, 4},     {"overrun", obey_overrun, 2},
    {"raw", obey_raw, 5},         {"schedule", obey_schedule, 4},
    {"press", obey_press, 2},     {"cause", obey_cause, 2}, {"pulse", obey_pulse, 2},
    {"note", obey_note, 4},
};

static void obey(void)
{
    for (size_t i = 0; i < sizeof orders / sizeof orders[0]; i++) {
        if (count >= orders[i].fewest && strcmp(words[0], orders[i].name) == 0) {
            orders[i].obey();
            return;
        }
    }
    puts("error");
}

int main(void)
{
    static char text[8 * MOST];

    while (fgets(text, sizeof text, stdin) != NULL) {
        char *rest = text;

        count = 0;
        for (char *word; count < WORDS && (word = strsep(&rest, " \n")) != NULL;) {
            if (*word != '\0') {
                words[count++] = word;
            }
        }
        if (count > 0) {
            obey();
            fflush(stdout);
        }
    }
    return 0;
}
