/* Constants kept in program memory on the chip, in ordinary memory on a host.
 *
 * The ATmega328P has 2 KB of RAM and copies every plain constant into it at boot.
 */
#ifndef FLASH_H
#define FLASH_H

#ifdef __AVR__
#include <avr/pgmspace.h>
#define FLASH_CONST PROGMEM
#define FLASH_TEXT(text) PSTR(text)
#define flash_byte(address) pgm_read_byte(address)
#define flash_u32(address) pgm_read_dword(address)
#else
#define FLASH_CONST
#define FLASH_TEXT(text) (text)
#define flash_byte(address) (*(address))
#define flash_u32(address) (*(address))
#endif

#endif
