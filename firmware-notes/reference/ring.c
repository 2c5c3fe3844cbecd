#include "ring.h"

#include "critical.h"

void ring_begin(struct ring *ring, uint8_t *bytes, uint16_t size)
{
    ring->bytes = bytes;
    ring->mask = (uint16_t)(size - 1u);
    ring->head = 0;
    ring->tail = 0;
    ring->draft = 0;
    ring->room = ring->mask;
}

uint16_t ring_room(const struct ring *ring)
{
    uint16_t tail = 0;

    CRITICAL {
        tail = ring->tail;
    }
    return (uint16_t)((uint16_t)(tail - ring->head - 1u) & ring->mask);
}

void ring_draft(struct ring *ring)
{
    ring->draft = ring->head;
    /* Read once per frame: the reader can only make more room in the meantime. */
    ring->room = ring_room(ring);
}

bool ring_put(struct ring *ring, uint8_t byte)
{
    if (ring->room == 0u) {
        return false;
    }
    ring->bytes[ring->draft] = byte;
    ring->draft = (uint16_t)((ring->draft + 1u) & ring->mask);
    ring->room--;
    return true;
}

void ring_commit(struct ring *ring)
{
    CRITICAL {
        ring->head = ring->draft;
    }
}

bool ring_take(struct ring *ring, uint8_t *byte)
{
    if (ring->tail == ring->head) {
        return false;
    }
    *byte = ring->bytes[ring->tail];
    ring->tail = (uint16_t)((ring->tail + 1u) & ring->mask);
    return true;
}
