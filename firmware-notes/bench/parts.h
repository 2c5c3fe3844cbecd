/* Emulated thermocouple converters: what each part puts on the bus, byte by byte.
 *
 * No simulator in here: select, exchange bytes, release. Register map and power-up values
 * of the linearising part are those of its data sheet.
 */
#ifndef PARTS_H
#define PARTS_H

#include <stdbool.h>
#include <stdint.h>

#define PARTS 6
#define PART_I2C 8
#define PART_WORD 6
#define PART_REGISTERS 16

enum part_kind { PART_MAX31855, PART_MAX6675, PART_MAX31856 };

struct part {
    enum part_kind kind;
    bool present;
    bool stuck; /* holds the bus low while selected, whatever it is asked */
    bool jammed; /* holds the bus low always */
    bool selected;
    uint8_t word[PART_WORD];   /* as the protocol sends it */
    uint8_t latched[PART_WORD]; /* the conversion the part held when it was selected */
    uint8_t position;          /* bytes exchanged since it was selected */
    uint8_t last;              /* byte before the current one, for bits that come late */
    uint8_t address;           /* of the linearising part's next register */
    uint8_t registers[PART_REGISTERS];
    uint64_t now_ms;           /* the chip keeps this up to date */
    uint64_t asked_ms;         /* when continuous conversion was last asked for */
};

/* A part just powered, with the given word to give. */
void part_power(struct part *part);
void part_select(struct part *part);
void part_release(struct part *part);

/* The part's answer to one byte from the controller, whose clock phase (0 or 1) must be
 * the part's own: with the other one the bits arrive one place late.
 */
uint8_t part_exchange(struct part *part, uint8_t byte, uint8_t phase);

uint8_t part_word_bytes(enum part_kind kind);

#define I2C_WORD 5

/* The emulated part on I2C, its registers by the data sheet; a register read on from where
 * it was pointed gives its own bytes only.
 */
struct i2c_part {
    bool present;
    bool selected;
    bool is_pointed;       /* the byte after the address has come */
    uint8_t word[I2C_WORD]; /* as the protocol sends it */
    uint8_t sensor;        /* register 05: thermocouple type and filter */
    uint8_t device;        /* register 06 */
    uint8_t pointer;
    uint8_t position;
};

void i2c_part_power(struct i2c_part *part);
void i2c_part_write(struct i2c_part *part, uint8_t byte);
uint8_t i2c_part_read(struct i2c_part *part);

#endif
