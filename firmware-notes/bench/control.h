/* The bench's orders, one a line, each answered by one line. README.md lists them. */
#ifndef CONTROL_H
#define CONTROL_H

#include <stdbool.h>

#include "chip.h"
#include "line.h"

struct bench {
    struct chip *chip;
    struct line *line;
    bool over; /* told to quit, or the program crashed */
};

/* Obeys one line (changed while it is taken apart) and prints the answer. */
void control_obey(struct bench *bench, char *order);

#endif
