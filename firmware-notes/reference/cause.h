/* Why the controller started, from the chip's reset flags. */
#ifndef CAUSE_H
#define CAUSE_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define CAUSE_POWER_FLAG 0x01u
#define CAUSE_EXTERNAL_FLAG 0x02u
#define CAUSE_BROWNOUT_FLAG 0x04u
#define CAUSE_WATCHDOG_FLAG 0x08u

/* The detail of the boot event, in flash: power brownout watchdog external unknown. */
const char *cause_name(uint8_t reset_flags);

#ifdef __cplusplus
}
#endif

#endif
