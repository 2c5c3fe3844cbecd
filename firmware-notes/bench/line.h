/* The controller's serial line as the host sees it: a pseudo-terminal or a file. */
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct line {
    int descriptor;
    int keeper;       /* our own hold on the host's end, so a late host loses nothing; or -1 */
    bool is_terminal;
    char name[128];   /* what the host opens; empty for a file */
    uint32_t sent;    /* bytes the controller put on the line */
    uint32_t spoil;   /* bytes still to be spoilt */
    uint32_t swallow; /* bytes still to be lost */
};

/* Opens a pseudo-terminal, or the file at `path` if that is not NULL. */
bool line_open(struct line *line, const char *path);
void line_close(struct line *line);

/* Waits until a host has opened the pseudo-terminal and had the time to set it up. From then on
 * bytes that no host is there to take are lost, as on a real line.
 */
void line_await_host(struct line *line);

/* A byte from the controller, with the injected faults applied. Waits while the host does
 * not read: simulated time stands still, so nothing is lost by running fast.
 */
void line_send(struct line *line, uint8_t byte);

/* Bytes that no controller sent. */
void line_noise(struct line *line, const uint8_t *bytes, size_t count);

/* A byte the host sent, or -1. Never waits. */
int line_receive(struct line *line);

#endif
