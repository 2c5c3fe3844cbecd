#define _GNU_SOURCE
#include "chip.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_twi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_hex.h>

/* Data-space addresses of the ATmega328P. */
#define MCUSR_ADDRESS 0x54
#define TIMSK0_ADDRESS 0x6E
#define PORTB_ADDRESS 0x25
#define PORTC_ADDRESS 0x28
#define BUS_PIN 4
#define TWSR_ADDRESS 0xB9
#define TWCR_ADDRESS 0xBC
#define TWINT_BIT 7
#define GPIOR0_ADDRESS 0x3E
#define SPCR_ADDRESS 0x4C
#define CPHA_BIT 2
#define SPSR_ADDRESS 0x4D
#define SPDR_ADDRESS 0x4E
#define RAM_START 0x100
#define UNTOUCHED 0xC5

#define BUTTON_PIN 2
#define STARTED_MS 300 /* a program may keep interrupts off while it starts */
#define PULSE_PIN 3 /* and the one above */
#define CHATTER_US 20
#define I2C_FIRST 0x60

static const uint8_t cause_flags[] = {0x01, 0x02, 0x04, 0x08};

struct select_pin {
    char port;
    uint8_t pin;
};

static const struct select_pin select_pins[PARTS] = {
    {'B', 2}, {'B', 1}, {'B', 0}, {'D', 7}, {'D', 6}, {'D', 5},
};

struct pulses {
    struct chip *chip;
    uint8_t pin;
    bool high;
    avr_cycle_count_t half;    /* cycles of half a period; 0 is still */
    avr_cycle_count_t chatter; /* cycles after an edge in which the level jumps about */
    avr_cycle_count_t turned;  /* when the level last changed for good */
};

struct chip {
    avr_t *avr;
    struct pulses pulses[CHIP_PULSES];
    struct i2c_part i2c[PART_I2C];
    avr_irq_t *i2c_irq;
    bool i2c_held;
    bool i2c_is_called; /* an address for writing is on its way */
    avr_cycle_count_t masked_from;
    bool is_masked;
    struct line *line;
    struct part parts[PARTS];
    uint64_t earlier;   /* cycles before the last reset, time off included */
    uint64_t pass_began;
    bool in_pass;
    bool bitten;        /* the watchdog's reset flag, as last seen */
    uint8_t flags;      /* reset flags the program has not cleared */
    bool paced;
    unsigned pace_percent;
    struct timespec paced_from;
    uint64_t paced_from_ms;
    uint8_t pull_value[2]; /* of port C and D, for pins driven from outside */
    uint32_t analogue_mv;
    uint32_t ram_used_end;
    struct chip_figures figures;
};

static uint64_t cycles_now(const struct chip *chip)
{
    return chip->earlier + chip->avr->cycle;
}

uint64_t chip_ms(const struct chip *chip)
{
    return cycles_now(chip) / CHIP_CYCLES_PER_MS;
}

static void on_select(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct part *part = param;

    (void)irq;
    if (value != 0 && part->selected) {
        part_release(part);
    } else if (value == 0 && !part->selected) {
        part_select(part);
    }
}

/* Open wires on the bus pull apart: any selected part that says 0 wins over the pull-up. */
static void on_bus_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct chip *chip = param;
    uint8_t phase = (uint8_t)(chip->avr->data[SPCR_ADDRESS] >> CPHA_BIT & 1);
    uint8_t answer = 0xFF;

    (void)irq;
    for (int i = 0; i < PARTS; i++) {
        if (chip->parts[i].jammed) {
            answer = 0;
        }
        if (chip->parts[i].selected) {
            chip->parts[i].now_ms = chip_ms(chip);
            answer &= part_exchange(&chip->parts[i], (uint8_t)value, phase);
        }
    }
    avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_INPUT), answer);
}

/* The simulator takes 100 us for every byte whatever the clock setting. The real unit
 * takes eight periods of its clock; find the timer it has just set and set it right.
 */
static void on_bus_start(struct avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    static const uint8_t divider_shift[8] = {2, 4, 6, 7, 1, 3, 5, 6};
    uint8_t setting = (avr->data[SPCR_ADDRESS] & 3) | (avr->data[SPSR_ADDRESS] & 1) << 2;
    avr_cycle_count_t cycles = 8u << divider_shift[setting];

    (void)address;
    (void)value;
    for (avr_cycle_timer_slot_p slot = avr->cycle_timers.timer; slot != NULL;
         slot = slot->next) {
        if (slot->param == param) {
            avr_cycle_timer_t raise = slot->timer;

            avr_cycle_timer_cancel(avr, raise, param);
            avr_cycle_timer_register(avr, cycles, raise, param);
            return;
        }
    }
}

static void *bus_unit(avr_t *avr)
{
    for (avr_io_t *unit = avr->io_port; unit != NULL; unit = unit->next) {
        if (strcmp(unit->kind, "spi") == 0) {
            return unit;
        }
    }
    return NULL;
}

static void on_i2c(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct chip *chip = param;
    avr_twi_msg_irq_t message = {.u.v = value};
    uint8_t address = message.u.twi.addr >> 1;

    (void)irq;
    if (chip->i2c_held) {
        return;
    }
    chip->i2c_is_called = (message.u.twi.msg & TWI_COND_START) != 0
                          && (message.u.twi.addr & 1) == 0;
    for (int i = 0; i < PART_I2C; i++) {
        struct i2c_part *part = &chip->i2c[i];

        if ((message.u.twi.msg & (TWI_COND_STOP | TWI_COND_START)) != 0) {
            part->selected = false;
        }
        if ((message.u.twi.msg & TWI_COND_START) != 0 && part->present
            && address == I2C_FIRST + i) {
            part->selected = true;
            part->position = 0;
            part->is_pointed = false;
            avr_raise_irq(chip->i2c_irq,
                          avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
        }
        if (!part->selected) {
            continue;
        }
        if ((message.u.twi.msg & TWI_COND_WRITE) != 0) {
            avr_raise_irq(chip->i2c_irq,
                          avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
            i2c_part_write(part, message.u.twi.data);
        }
        if ((message.u.twi.msg & TWI_COND_READ) != 0) {
            avr_raise_irq(chip->i2c_irq, avr_twi_irq_msg(TWI_COND_READ, message.u.twi.addr,
                                                         i2c_part_read(part)));
        }
    }
}

/* The simulator reports an address it sent as a byte of data it sent; by the data sheet the
 * answers to the two are numbers of their own.
 */
static void on_i2c_status(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct chip *chip = param;

    (void)irq;
    if (chip->i2c_is_called && (value == 0x28 || value == 0x30)) {
        chip->avr->data[TWSR_ADDRESS] =
            (uint8_t)((chip->avr->data[TWSR_ADDRESS] & 3) | (value == 0x28 ? 0x18 : 0x20));
    }
}

/* Writing a one clears the flag; the simulator leaves it up until the next byte is done. */
static void on_i2c_control(struct avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    if ((value >> TWINT_BIT & 1) != 0) {
        avr->data[address] &= (uint8_t)~(1u << TWINT_BIT);
    }
}

struct i2c_part *chip_i2c(struct chip *chip, int where)
{
    return where >= 0 && where < PART_I2C ? &chip->i2c[where] : NULL;
}

void chip_i2c_hold(struct chip *chip, bool held)
{
    chip->i2c_held = held;
}

static void put_level(struct chip *chip, uint8_t pin, bool high)
{
    avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin), high);
}

/* Runs at each edge and, while the contact chatters, every CHATTER_US; the level for good
 * comes at the end of the chatter as well as at its beginning.
 */
static avr_cycle_count_t on_edge(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct pulses *pulses = param;
    avr_cycle_count_t step = (avr_cycle_count_t)CHATTER_US * CHIP_HZ / 1000000u;

    (void)avr;
    if (pulses->half == 0) {
        return 0;
    }
    if (when >= pulses->turned + pulses->half) {
        pulses->high = !pulses->high;
        pulses->turned += pulses->half;
        put_level(pulses->chip, pulses->pin, pulses->high);
    } else {
        bool upset = (when - pulses->turned) / step % 2u == 1u
                     && when < pulses->turned + pulses->chatter;

        put_level(pulses->chip, pulses->pin, pulses->high != upset);
    }
    return when < pulses->turned + pulses->chatter ? when + step
                                                   : pulses->turned + pulses->half;
}

void chip_pulse(struct chip *chip, int where, uint32_t millihertz, uint32_t chatter_us)
{
    struct pulses *pulses = &chip->pulses[where - 1];
    avr_t *avr = chip->avr;

    avr_cycle_timer_cancel(avr, on_edge, pulses);
    pulses->chip = chip;
    pulses->pin = (uint8_t)(PULSE_PIN + where - 1);
    pulses->half =
        millihertz == 0 ? 0
                        : ((avr_cycle_count_t)CHIP_HZ * 500u + millihertz / 2u) / millihertz;
    pulses->chatter = (avr_cycle_count_t)chatter_us * (CHIP_HZ / 1000000u);
    pulses->turned = avr->cycle;
    pulses->high = true;
    put_level(chip, pulses->pin, true);
    if (pulses->half != 0) {
        avr_cycle_timer_register(avr, pulses->half, on_edge, pulses);
    }
}

unsigned chip_pulls(const struct chip *chip)
{
    unsigned inputs = chip->avr->data[PORTC_ADDRESS] & ((1u << CHIP_INPUTS) - 1u);
    unsigned bus = chip->avr->data[PORTB_ADDRESS] >> BUS_PIN & 1u;

    return inputs | bus << CHIP_INPUTS;
}

static void on_port_byte(struct avr_irq_t *irq, uint32_t value, void *param)
{
    struct chip *chip = param;

    (void)irq;
    line_send(chip->line, (uint8_t)value);
}

static void on_mark(struct avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    struct chip *chip = param;

    avr->data[address] = value;
    if (value != 0) {
        chip->pass_began = avr->cycle;
        chip->in_pass = true;
    } else if (chip->in_pass) {
        uint32_t took = (uint32_t)(avr->cycle - chip->pass_began);

        chip->in_pass = false;
        chip->figures.passes++;
        chip->figures.awake += took;
        if (took > chip->figures.longest_pass) {
            chip->figures.longest_pass = took;
            chip->figures.longest_at_ms = chip_ms(chip);
        }
    }
}

static void drive(struct chip *chip, char port, uint8_t pin, bool high)
{
    int index = port == 'C' ? 0 : 1;
    uint8_t mask = port == 'C' ? (1u << CHIP_INPUTS) - 1u : 1u << BUTTON_PIN;
    avr_irq_t *level = avr_io_getirq(chip->avr, AVR_IOCTL_IOPORT_GETIRQ((unsigned)port), pin);
    avr_ioport_external_t outside = {.name = (unsigned)port, .mask = mask};

    chip->pull_value[index] =
        (uint8_t)((chip->pull_value[index] & ~(1u << pin)) | ((high ? 1u : 0u) << pin));
    outside.value = chip->pull_value[index];
    /* All are needed: the first holds when the program writes the port, the others act at
     * once, in two steps because a level that did not change is not passed on, though a
     * reset has just cleared the register that should show it.
     */
    avr_ioctl(chip->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL((unsigned)port), &outside);
    avr_raise_irq(level, high ? 0 : 1);
    avr_raise_irq(level, high ? 1 : 0);
}

static void drive_all(struct chip *chip)
{
    for (uint8_t pin = 0; pin < CHIP_INPUTS; pin++) {
        drive(chip, 'C', pin, (chip->pull_value[0] >> pin) & 1);
    }
    drive(chip, 'D', BUTTON_PIN, (chip->pull_value[1] >> BUTTON_PIN) & 1);
    chip_analogue(chip, chip->analogue_mv);
}

void chip_input(struct chip *chip, int where, bool high)
{
    drive(chip, 'C', (uint8_t)(where - 1), high);
}

void chip_button(struct chip *chip, bool down)
{
    drive(chip, 'D', BUTTON_PIN, !down);
}

void chip_analogue(struct chip *chip, uint32_t millivolts)
{
    chip->analogue_mv = millivolts;
    avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC3), millivolts);
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles; /* simulated time is not real time; chip_run does the pacing */
}

static void quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, arguments);
    }
}

static void connect_board(struct chip *chip)
{
    avr_t *avr = chip->avr;
    uint32_t flags = 0;

    for (int i = 0; i < PARTS; i++) {
        avr_irq_register_notify(
            avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ((unsigned)select_pins[i].port),
                          select_pins[i].pin),
            on_select, &chip->parts[i]);
    }
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT),
                            on_bus_byte, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT),
                            on_port_byte, chip);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    chip->i2c_irq = avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), on_i2c,
                            chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_STATUS),
                            on_i2c_status, chip);
    avr_register_io_write(avr, TWCR_ADDRESS, on_i2c_control, chip);
    avr_register_io_write(avr, SPDR_ADDRESS, on_bus_start, bus_unit(avr));
    avr_register_io_write(avr, GPIOR0_ADDRESS, on_mark, chip);
}

/* RAM after a power-up holds anything; a fixed pattern also shows how deep the stack got. */
static void scramble(struct chip *chip)
{
    memset(chip->avr->data + RAM_START, UNTOUCHED, chip->avr->ramend + 1u - RAM_START);
}

struct chip *chip_open(const char *elf_path, struct line *line)
{
    elf_firmware_t program;
    struct chip *chip = calloc(1, sizeof *chip);

    avr_global_logger_set(quiet);
    memset(&program, 0, sizeof program);
    if (chip == NULL || elf_read_firmware(elf_path, &program) != 0) {
        fprintf(stderr, "%s: expected a program for the chip\n", elf_path);
        free(chip);
        return NULL;
    }
    program.frequency = CHIP_HZ;
    chip->line = line;
    chip->avr = avr_make_mcu_by_name("atmega328p");
    if (chip->avr == NULL || avr_init(chip->avr) != 0) {
        fprintf(stderr, "expected a simulator with an atmega328p\n");
        free(chip);
        return NULL;
    }
    avr_load_firmware(chip->avr, &program);
    chip->ram_used_end = RAM_START + program.datasize + program.bsssize;
    chip->avr->sleep = no_sleep;
    chip->avr->vcc = chip->avr->avcc = 5000;
    chip->pull_value[0] = 0xFF;
    chip->pull_value[1] = 0xFF;
    for (int i = 0; i < PARTS; i++) {
        chip->parts[i].present = true;
        part_power(&chip->parts[i]);
    }
    for (int i = 0; i < PART_I2C; i++) {
        i2c_part_power(&chip->i2c[i]);
    }
    connect_board(chip);
    scramble(chip);
    for (int i = 1; i <= CHIP_PULSES; i++) {
        chip_pulse(chip, i, 0, 0);
    }
    drive_all(chip);
    chip->flags = cause_flags[CHIP_POWER];
    chip->avr->data[MCUSR_ADDRESS] = chip->flags;
    return chip;
}

void chip_close(struct chip *chip)
{
    avr_terminate(chip->avr);
    free(chip);
}

struct part *chip_part(struct chip *chip, int where)
{
    return where >= 1 && where <= PARTS ? &chip->parts[where - 1] : NULL;
}

bool chip_eeprom(struct chip *chip, const uint8_t *bytes, size_t count)
{
    uint8_t kept[CHIP_EEPROM];
    avr_eeprom_desc_t set = {.ee = (uint8_t *)(uintptr_t)bytes, .size = (uint32_t)count};
    avr_eeprom_desc_t get = {.ee = kept, .size = (uint32_t)count};

    if (count > CHIP_EEPROM) {
        return false;
    }
    /* The simulator's answers say nothing about success, so look. */
    avr_ioctl(chip->avr, AVR_IOCTL_EEPROM_SET, &set);
    avr_ioctl(chip->avr, AVR_IOCTL_EEPROM_GET, &get);
    return memcmp(kept, bytes, count) == 0;
}

static void started_again(struct chip *chip)
{
    chip->in_pass = false;
    chip->figures.resets++;
    for (int i = 0; i < PARTS; i++) {
        part_release(&chip->parts[i]);
    }
    drive_all(chip);
}

void chip_reset(struct chip *chip, enum chip_reset cause, uint32_t off_ms)
{
    uint64_t now = cycles_now(chip);

    avr_reset(chip->avr);
    chip->earlier = now + (uint64_t)off_ms * CHIP_CYCLES_PER_MS - chip->avr->cycle;
    if (cause == CHIP_POWER || cause == CHIP_BROWNOUT) {
        scramble(chip);
        for (int i = 0; i < PARTS; i++) {
            part_power(&chip->parts[i]);
        }
    }
    started_again(chip);
    /* Only a power-on clears the other flags. */
    chip->flags = (uint8_t)(cause == CHIP_POWER ? 0 : chip->flags) | cause_flags[cause];
    chip->bitten = (chip->flags & cause_flags[CHIP_WATCHDOG]) != 0;
    chip->avr->data[MCUSR_ADDRESS] = chip->flags;
}

bool chip_bootloader(struct chip *chip, const char *hex_path)
{
    ihex_chunk_p chunks = NULL;
    int count = read_ihex_chunks(hex_path, &chunks);
    bool sound = count > 0;

    for (int i = 0; sound && i < count; i++) {
        uint32_t room = chip->avr->flashend + 1u - chunks[i].baseaddr;

        sound = chunks[i].baseaddr <= chip->avr->flashend;
        if (sound) { /* the simulator counts some bytes too many where a file has a gap */
            memcpy(chip->avr->flash + chunks[i].baseaddr, chunks[i].data,
                   chunks[i].size < room ? chunks[i].size : room);
        }
    }
    if (sound) {
        chip->avr->reset_pc = chunks[0].baseaddr;
        chip_reset(chip, CHIP_POWER, 0);
    }
    free_ihex_chunks(chunks);
    return sound;
}

void chip_hang(struct chip *chip)
{
    chip->avr->data[TIMSK0_ADDRESS] = 0;
}

void chip_pace(struct chip *chip, unsigned percent)
{
    chip->paced = percent != 0;
    chip->pace_percent = percent;
    clock_gettime(CLOCK_MONOTONIC, &chip->paced_from);
    chip->paced_from_ms = chip_ms(chip);
}

static void wait_for_pace(const struct chip *chip)
{
    uint64_t real_us = (chip_ms(chip) - chip->paced_from_ms) * 10u * chip->pace_percent;
    struct timespec until = chip->paced_from;

    until.tv_sec += (time_t)(real_us / 1000000u);
    until.tv_nsec += (long)(real_us % 1000000u) * 1000;
    if (until.tv_nsec >= 1000000000) {
        until.tv_nsec -= 1000000000;
        until.tv_sec++;
    }
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &until, NULL) == EINTR) {
    }
}

static void hear_host(struct chip *chip)
{
    int byte;

    while ((byte = line_receive(chip->line)) >= 0) {
        avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT),
                      (uint32_t)byte);
    }
}

/* The watchdog restarts the chip inside the simulator; its reset flag and a program at its very
 * beginning tell. Flags stay up until the program clears them, which the simulator forgets.
 */
static void watch_watchdog(struct chip *chip)
{
    uint8_t *flags = &chip->avr->data[MCUSR_ADDRESS];
    bool bitten = (*flags & cause_flags[CHIP_WATCHDOG]) != 0;

    if (bitten && (!chip->bitten || chip->avr->pc == chip->avr->reset_pc)) {
        started_again(chip);
        *flags |= chip->flags;
    }
    chip->bitten = bitten;
    chip->flags = *flags;
}

/* How long the program keeps interrupts off, its handlers counted in. */
static void watch_mask(struct chip *chip)
{
    avr_t *avr = chip->avr;
    bool is_masked = avr->sreg[S_I] == 0;

    if (is_masked && !chip->is_masked) {
        chip->masked_from = avr->cycle;
    } else if (!is_masked && chip->is_masked && chip_ms(chip) >= STARTED_MS) {
        uint32_t took = (uint32_t)(avr->cycle - chip->masked_from);

        chip->figures.masked = took > chip->figures.masked ? took : chip->figures.masked;
    }
    chip->is_masked = is_masked;
}

static bool advance(struct chip *chip)
{
    avr_run(chip->avr);
    watch_mask(chip);
    if (chip->avr->state == cpu_Crashed || chip->avr->state == cpu_Done) {
        return false;
    }
    watch_watchdog(chip);
    return true;
}

bool chip_step(struct chip *chip, uint32_t instructions)
{
    while (instructions > 0) {
        bool sleeps = chip->avr->state == cpu_Sleeping;

        chip->avr->run_cycle_count = 1; /* else it takes all up to the next timer at once */
        if (!advance(chip)) {
            return false;
        }
        if (!sleeps) {
            instructions--;
        }
    }
    return true;
}

bool chip_run(struct chip *chip, uint64_t until_ms)
{
    uint64_t next_ms = chip_ms(chip);

    while (chip_ms(chip) < until_ms) {
        if (!advance(chip)) {
            return false;
        }
        if (chip_ms(chip) != next_ms) {
            next_ms = chip_ms(chip);
            hear_host(chip);
            if (chip->paced) {
                wait_for_pace(chip);
            }
        }
    }
    return true;
}

static uint32_t stack_peak(const struct chip *chip)
{
    uint32_t address = chip->ram_used_end + 1u; /* one byte of .noinit behind .bss */

    while (address <= chip->avr->ramend && chip->avr->data[address] == UNTOUCHED) {
        address++;
    }
    return chip->avr->ramend + 1u - address;
}

struct chip_figures chip_figures(const struct chip *chip)
{
    struct chip_figures figures = chip->figures;

    figures.cycles = cycles_now(chip);
    figures.sent = chip->line->sent;
    figures.stack_peak = stack_peak(chip);
    return figures;
}

void chip_figures_restart(struct chip *chip)
{
    uint32_t resets = chip->figures.resets;

    memset(&chip->figures, 0, sizeof chip->figures);
    chip->figures.resets = resets;
}
