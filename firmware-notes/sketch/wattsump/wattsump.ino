// The controller as a sketch: reads thermocouple converters, on/off inputs and the supply voltage, and
// sends their words in the line protocol. Change `wired` below to the wiring of your board.
// collect.py copies the .c and .h files beside this one from the reference firmware.

#include <SPI.h>
#include <string.h>

#include "cause.h"
#include "debounce.h"
#include "flash.h"
#include "outbox.h"
#include "schedule.h"

// name, part, detail, pin, option. Converters: thermocouple letter, chip-select pin. States: option 1
// for an input that is on when low (coupler), 0 for a divider. Supply: millivolts at full scale.
static const struct channel wired[] = {
    {"tank", SOURCE_MAX31855, 'K', 10, 0},
    {"cooler_in", SOURCE_MAX31855, 'K', 9, 0},
    {"cooler_out", SOURCE_MAX31855, 'K', 8, 0},
    {"ambient", SOURCE_MAX31855, 'K', 7, 0},
    {"case_drain", SOURCE_MAX31855, 'K', 6, 0},
    {"pump_inlet", SOURCE_MAX31855, 'K', 5, 0},
    {"fan", SOURCE_STATE, 0, A0, 1},
    {"engine", SOURCE_STATE, 0, A1, 1},
    {"drive", SOURCE_STATE, 0, A2, 1},
    {"supply", SOURCE_VALUE, 'v', A3, 17600},
};
static const uint16_t period_ms = 1000; // 100 or more; 250 or more with a MAX6675
static const uint8_t button_pin = 2;

#ifndef GPIOR0 // 1 during a turn of the loop, for the emulated bench; on these chips it drives no pin
static uint8_t GPIOR0;
#endif

static const uint8_t channels = sizeof wired / sizeof wired[0];
static_assert(channels <= TABLE_CHANNELS, "at most 16 channels");
static const char firmware[] FLASH_CONST = "wattsump-sketch-1.0";
static uint8_t bytes[512];
static struct ring ring;
static struct outbox outbox = {&ring, firmware, 0, 0};
static struct table table;
static struct schedule hello = {0, 60000};
static struct schedule reading = {0, period_ms};
static struct debounce button;
static uint32_t looked_ms;

static bool is_converter(const struct channel *channel)
{
    return channel->source == SOURCE_MAX31855 || channel->source == SOURCE_MAX6675;
}

static void read_converter(struct frame *frame, const struct channel *channel)
{
    uint8_t word[4];
    uint8_t count = channel->source == SOURCE_MAX31855 ? 4 : 2;

    SPI.beginTransaction(SPISettings(1000000, MSBFIRST, SPI_MODE0));
    digitalWrite(channel->where, LOW);
    for (uint8_t i = 0; i < count; i++) {
        word[i] = SPI.transfer(0);
    }
    digitalWrite(channel->where, HIGH);
    SPI.endTransaction();
    frame_hex(frame, word, count);
}

static void fill(struct frame *frame, const struct channel *channel, uint32_t)
{
    if (is_converter(channel)) {
        read_converter(frame, channel);
    } else if (channel->source == SOURCE_STATE) {
        bool high = digitalRead(channel->where) == HIGH;
        frame_char(frame, high != (channel->scale == 1) ? '1' : '0');
    } else {
        analogRead(channel->where); // the first conversion after a pause may be wrong
        frame_hundredths(frame, ((uint32_t)analogRead(channel->where) * channel->scale / 10 + 512) / 1024);
    }
}

static void begin_channel(const struct channel *channel)
{
    if (is_converter(channel)) {
        digitalWrite(channel->where, HIGH);
        pinMode(channel->where, OUTPUT);
    } else if (channel->source == SOURCE_STATE) {
        pinMode(channel->where, channel->scale == 1 ? INPUT_PULLUP : INPUT);
    }
}

void setup()
{
    memcpy(table.channels, wired, sizeof wired);
    table.count = channels;
    table.period_ms = period_ms;
    for (uint8_t i = 0; i < channels; i++) {
        begin_channel(&wired[i]);
    }
    pinMode(button_pin, INPUT_PULLUP);
    SPI.begin();
    analogReference(INTERNAL);
    ring_begin(&ring, bytes, sizeof bytes);
    Serial.begin(115200);
    uint32_t now_ms = millis();
    outbox_hello(&outbox, now_ms, &table);
    // The bootloader has already cleared the chip's reset flags, so the cause is unknown.
    outbox_event(&outbox, now_ms, FLASH_TEXT("boot"), cause_name(0));
    hello.due_ms = now_ms + hello.period_ms;
    reading.due_ms = now_ms + (300 + period_ms - 1) / period_ms * period_ms;
}

void loop()
{
    uint32_t now_ms = millis();
    uint8_t byte;

    GPIOR0 = 1;
    outbox_overrun(&outbox, now_ms);
    if (schedule_due(&hello, now_ms)) {
        outbox_hello(&outbox, now_ms, &table);
    }
    if (now_ms != looked_ms && debounce_pressed(&button, digitalRead(button_pin) == LOW)) {
        outbox_event(&outbox, now_ms, FLASH_TEXT("mark"), FLASH_TEXT("button"));
    }
    looked_ms = now_ms;
    if (schedule_due(&reading, now_ms)) {
        outbox_reading(&outbox, now_ms, &table, fill);
    }
    // Write only what there is room for: a USB port without a reader must not stop the readings.
    while (Serial.availableForWrite() > 0 && ring_take(&ring, &byte)) {
        Serial.write(byte);
    }
    GPIOR0 = 0;
}
