/* One line of the protocol, written straight into the ring with its checksum.
 *
 * There is no line buffer: a frame that outgrows the ring or the 512 bytes of a line is
 * dropped whole by frame_end. Numbers are printed here, not by a library formatter, which
 * would cost 1.5 KB of flash and a stack the chip does not have.
 */
#ifndef FRAME_H
#define FRAME_H

#include <stdbool.h>
#include <stdint.h>

#include "ring.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FRAME_LONGEST 512u /* bytes of a line, CR LF included */
#define FRAME_VERSION '1'

struct frame {
    struct ring *ring;
    uint16_t crc;
    uint16_t length;
    bool fits;
};

/* Starts a frame of `kind` with "<kind>1,<seq>,<uptime_ms>". */
void frame_begin(struct frame *frame, struct ring *ring, char kind, uint32_t seq,
                 uint32_t uptime_ms);

/* Parts of a body; nothing is written once the frame no longer fits. */
void frame_char(struct frame *frame, char symbol);
void frame_text(struct frame *frame, const char *text);
void frame_flash(struct frame *frame, const char *text_in_flash);
void frame_decimal(struct frame *frame, uint32_t value);
/* `value` hundredths as a decimal with two places: 1380 gives 13.80. */
void frame_hundredths(struct frame *frame, uint32_t value);
/* `count` bytes as upper-case hex, first byte first. */
void frame_hex(struct frame *frame, const uint8_t *bytes, uint8_t count);

/* Adds "*<crc>" CR LF and hands the line to the port; false if it did not fit. */
bool frame_end(struct frame *frame);

#ifdef __cplusplus
}
#endif

#endif
