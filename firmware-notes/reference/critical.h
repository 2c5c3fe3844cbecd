/* A statement that an interrupt must not split.
 *
 * An 8-bit core moves 16 and 32 bits in pieces; an interrupt between the pieces would see
 * or leave half a number. On a host there is no interrupt and the statement runs as it is.
 */
#ifndef CRITICAL_H
#define CRITICAL_H

#ifdef __AVR__
#include <util/atomic.h>
#define CRITICAL ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
#else
#define CRITICAL
#endif

#endif
