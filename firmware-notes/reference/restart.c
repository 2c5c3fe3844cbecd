#include "restart.h"

#include <avr/io.h>
#include <avr/wdt.h>

/* Not cleared at boot: written before the C start-up clears memory. */
static uint8_t flags __attribute__((section(".noinit")));

/* Runs before main and before memory is set up. After a watchdog reset the watchdog is
 * still running, at its shortest time, and would bite again before a slow start-up ends.
 */
static void __attribute__((naked, used, section(".init3"))) keep_flags(void)
{
    flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

uint8_t restart_flags(void)
{
    return flags;
}

/* An old bootloader does not stop the watchdog, which then bites it before it can start the
 * firmware, for ever. WATCHDOG=0 is for boards that keep such a one.
 */
#ifndef WATCHDOG
#define WATCHDOG 1
#endif

void restart_guard(void)
{
#if WATCHDOG
    wdt_enable(WDTO_500MS);
#endif
}

void restart_alive(void)
{
    wdt_reset();
}
