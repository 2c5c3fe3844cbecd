/* UART0 as a one-way port: sends what the ring holds, from an interrupt.
 *
 * The receiver stays off: nothing the host sends can disturb the controller.
 */
#ifndef PORT_H
#define PORT_H

#include "ring.h"

#ifndef BAUD
#define BAUD 115200
#endif

/* Starts the port; `ring` must outlive it. */
void port_begin(struct ring *ring);

/* Says that the ring may hold something new. Never waits. */
void port_wake(void);

#endif
