/* The emulated microcontroller with its board: pins, bus, port, resets, cycle counts. */
#ifndef CHIP_H
#define CHIP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "line.h"
#include "parts.h"

#ifndef CHIP_HZ
#define CHIP_HZ 16000000u
#endif
#define CHIP_CYCLES_PER_MS (CHIP_HZ / 1000u)
#define CHIP_INPUTS 3
#define CHIP_PULSES 2
#define CHIP_EEPROM 1024

enum chip_reset { CHIP_POWER, CHIP_EXTERNAL, CHIP_BROWNOUT, CHIP_WATCHDOG };

struct chip_figures {
    uint64_t cycles;         /* since the bench started, time off included */
    uint64_t passes;         /* of the firmware's main loop */
    uint32_t longest_pass;   /* cycles */
    uint64_t longest_at_ms;  /* when that was */
    uint64_t awake;          /* cycles spent in passes */
    uint32_t sent;           /* bytes on the port */
    uint32_t masked;         /* longest time with interrupts off, cycles */
    uint32_t stack_peak;     /* bytes, from RAM that was never touched */
    uint32_t resets;         /* of any kind, the first start not counted */
};

struct chip;

/* Loads the program; NULL and a line on stderr if it cannot be run. */
struct chip *chip_open(const char *elf_path, struct line *line);
void chip_close(struct chip *chip);

struct part *chip_part(struct chip *chip, int where); /* 1..6, NULL otherwise */

/* Runs until the simulated time since the bench started; false if the program crashed. */
bool chip_run(struct chip *chip, uint64_t until_ms);
uint64_t chip_ms(const struct chip *chip);
/* Runs so many instructions, time asleep not counted. */
bool chip_step(struct chip *chip, uint32_t instructions);

/* Real seconds per simulated second in percent; 0 is as fast as it goes. */
void chip_pace(struct chip *chip, unsigned percent);

void chip_reset(struct chip *chip, enum chip_reset cause, uint32_t off_ms);
/* Puts a bootloader (Intel HEX) where it belongs and starts the chip in it after every reset;
 * false if the file is none.
 */
bool chip_bootloader(struct chip *chip, const char *hex_path);
/* Stops the beat the firmware lives by, as an upset would; the watchdog must act. */
void chip_hang(struct chip *chip);

void chip_input(struct chip *chip, int where, bool high); /* 1..3 */
/* Which sense inputs (bits 0..2) and, bit 3, the bus have the chip's pull-up on. */
unsigned chip_pulls(const struct chip *chip);
/* A square wave on pulse input 1..2 from now on; 0 stops it high. Each edge chatters for so
 * long, in both directions every 20 us.
 */
void chip_pulse(struct chip *chip, int where, uint32_t millihertz, uint32_t chatter_us);
struct i2c_part *chip_i2c(struct chip *chip, int where); /* 0..7, NULL otherwise */
/* The I2C clock held low by a device, or let go. */
void chip_i2c_hold(struct chip *chip, bool held);
void chip_button(struct chip *chip, bool down);
void chip_analogue(struct chip *chip, uint32_t millivolts);
bool chip_eeprom(struct chip *chip, const uint8_t *bytes, size_t count);

struct chip_figures chip_figures(const struct chip *chip);
void chip_figures_restart(struct chip *chip);

#endif
