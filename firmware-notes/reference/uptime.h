/* Milliseconds since boot, wrapping to 0 after 49.7 days, and the 1 ms beat. */
#ifndef UPTIME_H
#define UPTIME_H

#include <stdint.h>

/* Where the count starts; tests build with a value just before the wrap. */
#ifndef START_UPTIME_MS
#define START_UPTIME_MS 0u
#endif

void uptime_begin(void);
uint32_t uptime_ms(void);

/* Sleeps until at least one beat has passed since the last call; returns the uptime. */
uint32_t uptime_wait_beat(void);

#endif
