#include "port.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "critical.h"

/* 115200 from 16 MHz is 2.1 % fast, inside what a UART at the other end accepts (about
 * 4 % in all); the libc header refuses anything beyond this tolerance, as it does 115200
 * from 8 MHz.
 */
#define BAUD_TOL 3
#include <util/setbaud.h>

static struct ring *outgoing;

ISR(USART_UDRE_vect)
{
    uint8_t byte;

    if (ring_take(outgoing, &byte)) {
        UDR0 = byte;
    } else {
        UCSR0B &= (uint8_t)~(1u << UDRIE0);
    }
}

void port_begin(struct ring *ring)
{
    outgoing = ring;
    UBRR0H = UBRRH_VALUE;
    UBRR0L = UBRRL_VALUE;
#if USE_2X
    UCSR0A = (uint8_t)(1u << U2X0);
#else
    UCSR0A = 0;
#endif
    UCSR0C = (uint8_t)((1u << UCSZ01) | (1u << UCSZ00));
    UCSR0B = (uint8_t)(1u << TXEN0);
}

/* The one place outside the interrupt that touches UCSR0B, and the read-modify-write is
 * longer than one instruction, so the interrupt must not clear the bit in between.
 */
void port_wake(void)
{
    CRITICAL {
        UCSR0B |= (uint8_t)(1u << UDRIE0);
    }
}
