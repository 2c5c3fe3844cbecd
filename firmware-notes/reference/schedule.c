#include "schedule.h"

bool schedule_due(struct schedule *schedule, uint32_t now_ms)
{
    uint32_t late_ms = now_ms - schedule->due_ms;

    /* Unsigned difference: right across the wrap; the upper half means "still to come". */
    if (late_ms >= 0x80000000u) {
        return false;
    }
    schedule->due_ms += schedule->period_ms;
    if (late_ms >= schedule->period_ms) {
        schedule->due_ms += late_ms - late_ms % schedule->period_ms;
    }
    return true;
}
