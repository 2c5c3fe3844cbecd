#define _GNU_SOURCE
#include "control.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WORDS 4
#define MOST_BYTES CHIP_EEPROM

struct order {
    char *word[WORDS];
    int count;
};

static void answer_bad(const char *expected)
{
    printf("error expected %s\n", expected);
}

static bool number(const char *text, unsigned long most, unsigned long *value)
{
    char *end;

    if (text == NULL || *text < '0' || *text > '9') {
        return false;
    }
    *value = strtoul(text, &end, 10);
    return *end == '\0' && *value <= most;
}

static int hex_value(char digit)
{
    const char *digits = "0123456789abcdef";
    const char *at = digit == '\0' ? NULL : strchr(digits, digit | 0x20);

    return at == NULL ? -1 : (int)(at - digits);
}

static int hex_bytes(const char *text, uint8_t *bytes, int most)
{
    int count = 0;

    for (; text != NULL && text[0] != '\0'; text += 2) {
        int high = hex_value(text[0]);
        int low = hex_value(text[1]);

        if (high < 0 || low < 0 || count == most) {
            return -1;
        }
        bytes[count++] = (uint8_t)(high << 4 | low);
    }
    return count;
}

static struct part *part_of(struct bench *bench, const struct order *order)
{
    unsigned long where;

    return number(order->word[1], PARTS, &where) ? chip_part(bench->chip, (int)where) : NULL;
}

static void obey_kind(struct bench *bench, const struct order *order)
{
    static const char *const names[] = {"max31855", "max6675", "max31856"};
    struct part *part = part_of(bench, order);

    for (int kind = 0; part != NULL && order->count == 3 && kind < 3; kind++) {
        if (strcmp(order->word[2], names[kind]) == 0) {
            part->kind = (enum part_kind)kind;
            puts("ok");
            return;
        }
    }
    answer_bad("kind <1..6> max31855|max6675|max31856");
}

static void obey_word(struct bench *bench, const struct order *order)
{
    struct part *part = part_of(bench, order);
    uint8_t bytes[PART_WORD] = {0};

    if (part == NULL || order->count != 3
        || hex_bytes(order->word[2], bytes, PART_WORD) != part_word_bytes(part->kind)) {
        answer_bad("word <1..6> <hex of the part's word>");
        return;
    }
    memcpy(part->word, bytes, sizeof bytes);
    puts("ok");
}

static void obey_part(struct bench *bench, const struct order *order)
{
    struct part *part = part_of(bench, order);

    if (part == NULL || order->count != 2) {
        answer_bad("absent|present|stuck|jammed|powercycle <1..6>");
        return;
    }
    if (strcmp(order->word[0], "powercycle") == 0) {
        part_power(part);
    } else {
        part->present = strcmp(order->word[0], "absent") != 0;
        part->stuck = strcmp(order->word[0], "stuck") == 0;
        part->jammed = strcmp(order->word[0], "jammed") == 0;
    }
    puts("ok");
}

static void obey_registers(struct bench *bench, const struct order *order)
{
    struct part *part = part_of(bench, order);

    if (part == NULL || order->count != 2) {
        answer_bad("registers <1..6>");
        return;
    }
    printf("registers ");
    for (int i = 0; i < PART_REGISTERS; i++) {
        printf("%02X", part->registers[i]);
    }
    putchar('\n');
}

static void obey_upset(struct bench *bench, const struct order *order)
{
    struct part *part = part_of(bench, order);
    unsigned long index;
    uint8_t value;

    if (part == NULL || order->count != 4
        || !number(order->word[2], PART_REGISTERS - 1, &index)
        || hex_bytes(order->word[3], &value, 1) != 1) {
        answer_bad("upset <1..6> <register> <hex>");
        return;
    }
    part->registers[index] = value;
    puts("ok");
}

static void obey_input(struct bench *bench, const struct order *order)
{
    unsigned long where;
    unsigned long high;

    if (order->count != 3 || !number(order->word[1], CHIP_INPUTS, &where) || where < 1
        || !number(order->word[2], 1, &high)) {
        answer_bad("input <1..3> 0|1");
        return;
    }
    chip_input(bench->chip, (int)where, high == 1);
    puts("ok");
}

static void obey_pulse(struct bench *bench, const struct order *order)
{
    unsigned long where;
    unsigned long millihertz;
    unsigned long chatter_us = 0;

    if (order->count < 3 || !number(order->word[1], CHIP_PULSES, &where) || where < 1
        || !number(order->word[2], 100000000, &millihertz)
        || (order->count == 4 && !number(order->word[3], 1000000, &chatter_us))) {
        answer_bad("pulse <1..2> <mHz> [<us of chatter at each edge>]");
        return;
    }
    chip_pulse(bench->chip, (int)where, (uint32_t)millihertz, (uint32_t)chatter_us);
    puts("ok");
}

static void obey_i2c(struct bench *bench, const struct order *order)
{
    unsigned long where;
    uint8_t bytes[I2C_WORD];
    struct i2c_part *part = number(order->word[1], PART_I2C - 1, &where)
                                ? chip_i2c(bench->chip, (int)where)
                                : NULL;

    if (order->count == 2 && strcmp(order->word[1], "hold") == 0) {
        chip_i2c_hold(bench->chip, true);
    } else if (order->count == 2 && strcmp(order->word[1], "free") == 0) {
        chip_i2c_hold(bench->chip, false);
    } else if (part != NULL && order->count == 3 && strcmp(order->word[2], "absent") == 0) {
        part->present = false;
    } else if (part != NULL && order->count == 3 && strcmp(order->word[2], "powercycle") == 0) {
        i2c_part_power(part);
    } else if (part != NULL && order->count == 3
               && hex_bytes(order->word[2], bytes, I2C_WORD) == I2C_WORD) {
        memcpy(part->word, bytes, sizeof bytes);
        part->present = true;
    } else {
        answer_bad("i2c <0..7> <hex of the word>|absent|powercycle, or i2c hold|free");
        return;
    }
    puts("ok");
}

static void obey_bootloader(struct bench *bench, const struct order *order)
{
    if (order->count != 2 || !chip_bootloader(bench->chip, order->word[1])) {
        answer_bad("bootloader <file in Intel HEX>");
        return;
    }
    puts("ok");
}

static void obey_pulls(struct bench *bench, const struct order *order)
{
    (void)order;
    printf("pulls %u\n", chip_pulls(bench->chip));
}

static void obey_button(struct bench *bench, const struct order *order)
{
    if (order->count != 2
        || (strcmp(order->word[1], "down") != 0 && strcmp(order->word[1], "up") != 0)) {
        answer_bad("button down|up");
        return;
    }
    chip_button(bench->chip, strcmp(order->word[1], "down") == 0);
    puts("ok");
}

static void obey_analogue(struct bench *bench, const struct order *order)
{
    unsigned long millivolts;

    if (order->count != 2 || !number(order->word[1], 5000, &millivolts)) {
        answer_bad("analogue <0..5000 mV at the pin>");
        return;
    }
    chip_analogue(bench->chip, (uint32_t)millivolts);
    puts("ok");
}

static void obey_reset(struct bench *bench, const struct order *order)
{
    static const char *const names[] = {"power", "external", "brownout", "watchdog"};
    unsigned long off_ms = 0;

    if (order->count < 2 || (order->count == 3 && !number(order->word[2], 86400000, &off_ms))) {
        answer_bad("reset power|external|brownout|watchdog [<ms without supply>]");
        return;
    }
    for (int cause = 0; cause < 4; cause++) {
        if (strcmp(order->word[1], names[cause]) == 0) {
            chip_reset(bench->chip, (enum chip_reset)cause, (uint32_t)off_ms);
            puts("ok");
            return;
        }
    }
    answer_bad("reset power|external|brownout|watchdog [<ms without supply>]");
}

static void obey_eeprom(struct bench *bench, const struct order *order)
{
    uint8_t bytes[MOST_BYTES];
    int count = hex_bytes(order->word[1], bytes, MOST_BYTES);

    if (count <= 0 || !chip_eeprom(bench->chip, bytes, (size_t)count)) {
        answer_bad("eeprom <hex, at most 1024 bytes>");
        return;
    }
    puts("ok");
}

static void obey_line(struct bench *bench, const struct order *order)
{
    uint8_t bytes[MOST_BYTES];
    unsigned long count = 0;
    int noise = 0;
    bool sound = order->count == 2;

    if (strcmp(order->word[0], "noise") == 0) {
        noise = hex_bytes(order->word[1], bytes, MOST_BYTES);
        sound = sound && noise > 0;
    } else {
        sound = sound && number(order->word[1], 1000000, &count);
    }
    if (!sound) {
        answer_bad("noise <hex> | spoil <bytes> | swallow <bytes>");
        return;
    }
    line_noise(bench->line, bytes, (size_t)noise);
    if (strcmp(order->word[0], "spoil") == 0) {
        bench->line->spoil = (uint32_t)count;
    } else if (strcmp(order->word[0], "swallow") == 0) {
        bench->line->swallow = (uint32_t)count;
    }
    puts("ok");
}

static void obey_run(struct bench *bench, const struct order *order)
{
    unsigned long until_ms;

    if (order->count != 2 || !number(order->word[1], 4000000000ul, &until_ms)) {
        answer_bad("run <ms since the bench started>");
        return;
    }
    if (!chip_run(bench->chip, until_ms)) {
        puts("error the program stopped");
        bench->over = true;
        return;
    }
    printf("at %" PRIu64 "\n", chip_ms(bench->chip));
}

static void obey_step(struct bench *bench, const struct order *order)
{
    unsigned long instructions;

    if (order->count != 2 || !number(order->word[1], 100000000, &instructions)) {
        answer_bad("step <instructions>");
        return;
    }
    if (!chip_step(bench->chip, (uint32_t)instructions)) {
        puts("error the program stopped");
        bench->over = true;
        return;
    }
    printf("at %" PRIu64 "\n", chip_ms(bench->chip));
}

static void obey_pace(struct bench *bench, const struct order *order)
{
    unsigned long percent;

    if (order->count != 2 || !number(order->word[1], 100000, &percent)) {
        answer_bad("pace <percent of real time per simulated time, 0 for none>");
        return;
    }
    chip_pace(bench->chip, (unsigned)percent);
    puts("ok");
}

static void obey_figures(struct bench *bench, const struct order *order)
{
    struct chip_figures figures = chip_figures(bench->chip);

    if (order->count == 2 && strcmp(order->word[1], "restart") == 0) {
        chip_figures_restart(bench->chip);
    } else if (order->count != 1) {
        answer_bad("figures [restart]");
        return;
    }
    printf("figures cycles=%" PRIu64 " passes=%" PRIu64 " longest_pass=%" PRIu32
           " longest_at_ms=%" PRIu64 " awake=%" PRIu64 " sent=%" PRIu32 " stack_peak=%" PRIu32
           " resets=%" PRIu32 " masked=%" PRIu32 "\n",
           figures.cycles, figures.passes, figures.longest_pass, figures.longest_at_ms,
           figures.awake, figures.sent, figures.stack_peak, figures.resets,
           figures.masked);
}

static void obey_await(struct bench *bench, const struct order *order)
{
    (void)order;
    line_await_host(bench->line);
    puts("ok");
}

static void obey_hang(struct bench *bench, const struct order *order)
{
    (void)order;
    chip_hang(bench->chip);
    puts("ok");
}

static void obey_quit(struct bench *bench, const struct order *order)
{
    (void)order;
    bench->over = true;
    puts("ok");
}

static const struct {
    const char *name;
    void (*obey)(struct bench *bench, const struct order *order);
} orders[] = {
    {"word", obey_word},       {"run", obey_run},         {"input", obey_input},
    {"step", obey_step},
    {"kind", obey_kind},       {"absent", obey_part},     {"present", obey_part},
    {"stuck", obey_part},      {"powercycle", obey_part}, {"button", obey_button},
    {"jammed", obey_part},     {"pulse", obey_pulse},     {"i2c", obey_i2c},
    {"pulls", obey_pulls},     {"upset", obey_upset},
    {"bootloader", obey_bootloader},
    {"analogue", obey_analogue}, {"reset", obey_reset},   {"hang", obey_hang},
    {"eeprom", obey_eeprom},   {"noise", obey_line},      {"spoil", obey_line},
    {"swallow", obey_line},    {"pace", obey_pace},       {"figures", obey_figures},
    {"registers", obey_registers}, {"await", obey_await}, {"quit", obey_quit},
};

void control_obey(struct bench *bench, char *text)
{
    struct order order = {.count = 0};
    char *rest = text;

    for (char *word; order.count < WORDS && (word = strsep(&rest, " \r\n")) != NULL;) {
        if (*word != '\0') {
            order.word[order.count++] = word;
        }
    }
    for (size_t i = 0; order.count > 0 && i < sizeof orders / sizeof orders[0]; i++) {
        if (strcmp(order.word[0], orders[i].name) == 0) {
            orders[i].obey(bench, &order);
            fflush(stdout);
            return;
        }
    }
    answer_bad("an order of the bench");
    fflush(stdout);
}
