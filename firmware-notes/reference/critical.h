/* A statement that an interrupt must not split.
 *
 * An 8-bit core moves 16 and 32 bits in pieces; an interrupt between the pieces would see
 * or leave half a number. A 32-bit core does not, but the compiler may still move the frame's
 * bytes behind the number that hands them over. On a desktop there is no interrupt and the
 * statement runs as it is. A target that is none of these must say here how it does it.
 */
#ifndef CRITICAL_H
#define CRITICAL_H

#if defined(__AVR__)
#include <util/atomic.h>
#define CRITICAL ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
#elif defined(__arm__) && defined(__ARM_ARCH_PROFILE) && __ARM_ARCH_PROFILE == 'M'
#include <stdint.h>
static inline uint32_t critical_enter(void)
{
    uint32_t mask;

    __asm__ volatile("mrs %0, primask\n\tcpsid i" : "=r"(mask) : : "memory");
    return mask;
}
static inline void critical_leave(const uint32_t *mask)
{
    __asm__ volatile("msr primask, %0" : : "r"(*mask) : "memory");
}
#define CRITICAL                                                                              \
    for (uint32_t critical_mask __attribute__((cleanup(critical_leave))) = critical_enter(),  \
                  critical_once = 1;                                                          \
         critical_once != 0; critical_once = 0)
#elif defined(__unix__) || defined(__APPLE__) || defined(_WIN32)
#define CRITICAL
#else
#error "expected a target that critical.h knows; say here how it masks the port's interrupt"
#endif

#endif
