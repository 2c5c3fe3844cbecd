/* A button that counts once per press, however its contact chatters. */
#ifndef DEBOUNCE_H
#define DEBOUNCE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define DEBOUNCE_LOOKS 20u /* looks in a row that must agree: 20 ms at one per tick */

struct debounce {
    uint8_t agreed; /* looks in a row that contradict `down` */
    bool down;
};

/* One look per tick; true at the look by which a press is certain. */
bool debounce_pressed(struct debounce *button, bool looks_down);

#ifdef __cplusplus
}
#endif

#endif
