#include "cause.h"

#include "flash.h"

/* A slowly rising supply raises the brown-out and external flags beside the power-on
 * flag, so the order of these questions matters. No flag at all means a bootloader took
 * them before this firmware could look.
 */
const char *cause_name(uint8_t reset_flags)
{
    if ((reset_flags & CAUSE_POWER_FLAG) != 0u) {
        return FLASH_TEXT("power");
    }
    if ((reset_flags & CAUSE_BROWNOUT_FLAG) != 0u) {
        return FLASH_TEXT("brownout");
    }
    if ((reset_flags & CAUSE_WATCHDOG_FLAG) != 0u) {
        return FLASH_TEXT("watchdog");
    }
    if ((reset_flags & CAUSE_EXTERNAL_FLAG) != 0u) {
        return FLASH_TEXT("external");
    }
    return FLASH_TEXT("unknown");
}
