/* Why the chip started, and the watchdog that restarts it when it hangs. */
#ifndef RESTART_H
#define RESTART_H

#include <stdint.h>

/* The reset flags as they were at this start. */
uint8_t restart_flags(void);

/* Starts the watchdog: half a second without restart_alive restarts the chip. */
void restart_guard(void);
void restart_alive(void);

#endif
