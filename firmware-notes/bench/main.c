/* The emulated bench: a chip, its converters, its serial line, and orders on stdin.
 *
 *   bench program.elf [file]
 *
 * Prints "port <name>" first, then one line per order. Without a file the line is a
 * pseudo-terminal. Ends on "quit" or when stdin ends.
 */
#include <signal.h>
#include <stdio.h>

#include "chip.h"
#include "control.h"
#include "line.h"

#define LONGEST_ORDER 4096

int main(int count, char **arguments)
{
    static char order[LONGEST_ORDER];
    struct line line;
    struct bench bench = {.line = &line};

    if (count < 2 || count > 3) {
        fprintf(stderr, "usage: %s program.elf [file]\n", arguments[0]);
        return 2;
    }
    if (!line_open(&line, count == 3 ? arguments[2] : NULL)) {
        perror("line");
        return 1;
    }
    bench.chip = chip_open(arguments[1], &line);
    if (bench.chip == NULL) {
        return 1;
    }
    signal(SIGPIPE, SIG_IGN);
    printf("port %s\n", line.name);
    fflush(stdout);
    while (!bench.over && fgets(order, sizeof order, stdin) != NULL) {
        control_obey(&bench, order);
    }
    chip_close(bench.chip);
    line_close(&line);
    return 0;
}
