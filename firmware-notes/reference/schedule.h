/* When the next thing is due, by an uptime that wraps to 0 after 49.7 days. */
#ifndef SCHEDULE_H
#define SCHEDULE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

struct schedule {
    uint32_t due_ms;
    uint32_t period_ms; /* 1..2^31 - 1 */
};

/* True once per period; keeps its phase, and skips what could not be done in time. */
bool schedule_due(struct schedule *schedule, uint32_t now_ms);

#ifdef __cplusplus
}
#endif

#endif
