/* The controller: once per millisecond, do what is due; never wait for anything.
 *
 * GPIOR0 is 1 during a pass of the loop. It drives no pin and costs two cycles; the
 * emulated bench times the passes by it.
 */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

#include "cause.h"
#include "converters.h"
#include "flash.h"
#include "inputs.h"
#include "outbox.h"
#include "port.h"
#include "pulses.h"
#include "restart.h"
#include "schedule.h"
#include "table.h"
#include "uptime.h"

#define FIRMWARE "wattsump-ref-1.0"
#define RING_BYTES 1024u /* two of the longest lines; 89 ms of port time at 115200 */
#define HELLO_PERIOD_MS 60000u
/* The converters need up to 200 ms from power-up to their first conversion. */
#define FIRST_READING_MS 300u

static const char firmware[] FLASH_CONST = FIRMWARE;

/* The first thing behind the interrupt vectors, at address 0x68 of every build, so that
 * table_image.py can change it in a finished image.
 */
static const uint8_t built_in_table[TABLE_BYTES]
    __attribute__((section(".progmem.gcc_channels"), used)) = {
#include "built_in_table.inc"
};

static uint8_t ring_bytes[RING_BYTES];
static struct ring ring;
static struct outbox outbox = {.ring = &ring, .firmware_in_flash = firmware};
static struct table table;
static struct schedule hello = {.period_ms = HELLO_PERIOD_MS};
static struct schedule reading;
static struct pulse_meter meters[TABLE_PULSES];

static uint8_t read_eeprom(uint16_t address)
{
    return eeprom_read_byte((const uint8_t *)(TABLE_EEPROM_AT + address));
}

static uint8_t read_built_in(uint16_t address)
{
    return flash_byte(&built_in_table[address]);
}

static enum table_state load_table(void)
{
    enum table_state kept = table_load(&table, read_eeprom);

    if (kept != TABLE_SOUND) {
        table_load(&table, read_built_in); /* if this fails too the table is empty */
    }
    return kept;
}

static void fill_rate(struct frame *frame, const struct channel *channel)
{
    uint32_t now_us;
    uint32_t hundredths;
    struct pulse_count count = pulses_seen(channel->where, &now_us);

    if (pulse_hundredths(&meters[channel->where - 1u], count, now_us, channel->scale,
                         &hundredths)) {
        frame_hundredths(frame, hundredths);
    }
}

static void fill_field(struct frame *frame, const struct channel *channel, uint32_t now_ms)
{
    uint8_t word[CONVERTER_WORD];
    uint32_t hundredths;

    switch (channel->source) {
    case SOURCE_STATE:
        frame_char(frame, input_is_on(channel) ? '1' : '0');
        break;
    case SOURCE_VALUE:
        if (input_hundredths(channel, &hundredths)) {
            frame_hundredths(frame, hundredths);
        }
        break;
    case SOURCE_PULSE:
        fill_rate(frame, channel);
        break;
    default:
        frame_hex(frame, word, converter_read(channel, now_ms, word));
        break;
    }
}

/* Without any sound table there is nothing to declare and nothing to read; that is said
 * where a hello would be, for as long as it lasts.
 */
static void say_hello(uint32_t now_ms)
{
    if (table.count == 0u) {
        outbox_event(&outbox, now_ms, FLASH_TEXT("note"), FLASH_TEXT("no-table"));
    } else {
        outbox_hello(&outbox, now_ms, &table);
    }
}

static void greet(enum table_state kept, uint32_t now_ms)
{
    say_hello(now_ms);
    outbox_event(&outbox, now_ms, FLASH_TEXT("boot"), cause_name(restart_flags()));
    if (kept == TABLE_SPOILT) {
        outbox_event(&outbox, now_ms, FLASH_TEXT("note"), FLASH_TEXT("table-spoilt"));
    }
    if (table.count != 0u) {
        outbox_table(&outbox, now_ms,
                     kept == TABLE_SOUND ? FLASH_TEXT("eeprom") : FLASH_TEXT("flash"),
                     table.crc);
    }
    port_wake();
}

static void plan(uint32_t now_ms)
{
    uint32_t periods;

    hello.due_ms = now_ms + HELLO_PERIOD_MS;
    if (table.count == 0u) {
        return;
    }
    periods = (FIRST_READING_MS + table.period_ms - 1u) / table.period_ms;
    reading.period_ms = table.period_ms;
    reading.due_ms = now_ms + periods * table.period_ms;
}

static void pass(uint32_t now_ms)
{
    outbox_overrun(&outbox, now_ms);
    if (schedule_due(&hello, now_ms)) {
        say_hello(now_ms);
    }
    if (input_marked()) {
        outbox_event(&outbox, now_ms, FLASH_TEXT("mark"), FLASH_TEXT("button"));
    }
    if (table.count != 0u && schedule_due(&reading, now_ms)) {
        outbox_reading(&outbox, now_ms, &table, fill_field);
    }
    port_wake();
}

int main(void)
{
    uint32_t now_ms = uptime_ms();
    enum table_state kept = load_table();

    restart_guard();
    ring_begin(&ring, ring_bytes, RING_BYTES);
    port_begin(&ring);
    inputs_begin(&table);
    pulses_begin(&table);
    converters_begin(&table, now_ms);
    uptime_begin();
    plan(now_ms);
    sei();
    greet(kept, now_ms);
    for (;;) {
        now_ms = uptime_wait_beat();
        GPIOR0 = 1;
        restart_alive();
        pass(now_ms);
        GPIOR0 = 0;
    }
}
