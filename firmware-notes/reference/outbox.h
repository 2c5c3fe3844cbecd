/* The frames themselves: hello, reading, event, with one sequence number for all.
 *
 * A frame that finds no room is counted and its sequence number is spent, so the host
 * sees the gap and, from the overrun event that follows, that the controller knows of it.
 */
#ifndef OUTBOX_H
#define OUTBOX_H

#include <stdbool.h>
#include <stdint.h>

#include "frame.h"
#include "ring.h"
#include "table.h"

#ifdef __cplusplus
extern "C" {
#endif

struct outbox {
    struct ring *ring;
    const char *firmware_in_flash; /* identity and version, 1..32 of A-Z a-z 0-9 . _ - */
    uint32_t seq;
    uint32_t lost; /* frames since the last overrun event that found no room */
};

/* Fills one field of a reading; writes nothing for "no reading". */
typedef void (*outbox_field)(struct frame *frame, const struct channel *channel,
                             uint32_t uptime_ms);

/* None of these may be called from an interrupt, and none of them waits. */
void outbox_hello(struct outbox *outbox, uint32_t uptime_ms, const struct table *table);
void outbox_reading(struct outbox *outbox, uint32_t uptime_ms, const struct table *table,
                    outbox_field fill);
void outbox_event(struct outbox *outbox, uint32_t uptime_ms, const char *code_in_flash,
                  const char *detail_in_flash);
/* Says which table is in use: "note,table-<memory>-<crc>". */
void outbox_table(struct outbox *outbox, uint32_t uptime_ms, const char *memory_in_flash,
                  uint16_t crc);
/* Sends the overrun event if frames were lost and there is room for it again. */
void outbox_overrun(struct outbox *outbox, uint32_t uptime_ms);

#ifdef __cplusplus
}
#endif

#endif
