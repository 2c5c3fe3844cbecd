/* Bytes waiting for the port: one writer (the main loop), one reader (an interrupt).
 *
 * A frame is drafted behind the committed end and the reader sees it only when it is
 * whole, so a frame that does not fit leaves no torn line on the port.
 *
 * The memory is the caller's. Its size must be a power of two; one byte of it stays
 * unused, because a full ring and an empty one would otherwise look alike.
 */
#ifndef RING_H
#define RING_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

struct ring {
    uint8_t *bytes;
    uint16_t mask;
    volatile uint16_t head; /* end of what is committed: writer's */
    volatile uint16_t tail; /* next byte to send: reader's */
    uint16_t draft;         /* end of the draft: writer's alone */
    uint16_t room;          /* bytes the draft may still take */
};

/* Writer side: not for interrupts. */

/* Takes `size` bytes at `bytes`; holds `size - 1`. */
void ring_begin(struct ring *ring, uint8_t *bytes, uint16_t size);

/* Bytes that would fit now. */
uint16_t ring_room(const struct ring *ring);

/* Starts a draft, and forgets one that was not committed. */
void ring_draft(struct ring *ring);

/* Adds a byte to the draft; false and unchanged when full. */
bool ring_put(struct ring *ring, uint8_t byte);

/* Hands the draft to the reader. */
void ring_commit(struct ring *ring);

/* Reader side: with interrupts off, or from the one interrupt that sends. */

/* Takes the oldest committed byte; false when there is none. */
bool ring_take(struct ring *ring, uint8_t *byte);

#ifdef __cplusplus
}
#endif

#endif
