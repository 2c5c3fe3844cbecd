/* The portable modules from a channel table to the line, on a desktop or on a bare Cortex-M:
 * a boot, a button, ten readings, a ring that runs over. Each core must say the same bytes.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "cause.h"
#include "debounce.h"
#include "flash.h"
#include "outbox.h"
#include "pulse.h"
#include "schedule.h"
#include "table.h"

#define START_MS 4294965996u /* 1.3 s before the count wraps */

static const uint8_t image[] = {
#include "table.inc"
};
static const char firmware[] FLASH_CONST = "small-core-1.0";
static uint8_t memory[1024];
static struct ring ring;
static struct outbox outbox = {.ring = &ring, .firmware_in_flash = firmware};
static struct table table;
static struct pulse_meter meter;

static void put(uint8_t byte);

static uint8_t read_image(uint16_t address)
{
    return address < sizeof image ? image[address] : 0xFFu;
}

static void fill(struct frame *frame, const struct channel *channel, uint32_t uptime_ms)
{
    uint8_t word[4] = {(uint8_t)(uptime_ms >> 8), (uint8_t)uptime_ms, channel->where, 0x90u};
    struct pulse_count edges = {(uptime_ms - START_MS) / 4u, 1000u * uptime_ms};
    uint32_t hundredths;

    if (channel->source != SOURCE_PULSE) {
        frame_hex(frame, word, sizeof word);
    } else if (pulse_hundredths(&meter, edges, 1000u * uptime_ms + 7u, channel->scale,
                                &hundredths)) {
        frame_hundredths(frame, hundredths);
    }
}

static void drain(void)
{
    uint8_t byte;

    while (ring_take(&ring, &byte)) {
        put(byte);
    }
}

static void play(void)
{
    struct schedule reading = {.due_ms = START_MS + 4u, .period_ms = 250u};
    struct debounce button = {0, false};
    uint32_t now_ms = START_MS;

    ring_begin(&ring, memory, sizeof memory);
    table_load(&table, read_image);
    outbox_hello(&outbox, now_ms, &table);
    outbox_event(&outbox, now_ms, FLASH_TEXT("boot"), cause_name(4));
    for (uint16_t pass = 0; pass < 2600u; pass++, now_ms++) {
        outbox_overrun(&outbox, now_ms);
        if (debounce_pressed(&button, pass >= 1100u)) {
            outbox_event(&outbox, now_ms, FLASH_TEXT("mark"), FLASH_TEXT("button"));
        }
        for (uint8_t more = 0; schedule_due(&reading, now_ms) || (pass == 2000u && more < 40u);
             more++) {
            outbox_reading(&outbox, now_ms, &table, fill);
        }
        drain();
    }
}

#if defined(__arm__)

/* Words to the emulator (Arm semihosting): 3 writes a character, 0x18 ends. */
static void ask(uint32_t what, const void *about)
{
    register uint32_t r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = about;

    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
}

static void put(uint8_t byte)
{
    ask(3u, &byte);
}

static void start(void)
{
    play();
    ask(0x18u, (const void *)0x20026u);
}

extern const char stack_top[];
const void *const vectors[] __attribute__((section(".vectors"), used)) = {stack_top, start};

#else

#include <stdio.h>

static void put(uint8_t byte)
{
    putchar(byte);
}

int main(void)
{
    play();
    return 0;
}

#endif
