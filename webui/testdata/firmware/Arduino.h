// What the sketch uses of its environment, made up for a test: a clock that
// jumps, pins that read a known number, a port that is the standard output.
// Plain C on purpose, so that a C compiler will do where there is no other.

#include <stdint.h>
#include <stdio.h>

enum { A0 = 14, A1, A2, A3, A4, A5, A6, A7 };

static uint32_t clock_ms;
static unsigned scan;

static uint32_t millis(void) { return clock_ms; }
static int analogRead(uint8_t pin) { return (int)((pin - A0) * 100 + scan * 7) % 1024; }

static void port_begin(long baud) { (void)baud; }
static void port_write(char c) { putchar(c); }

static struct {
  void (*begin)(long);
  void (*write)(char);
} Serial = {port_begin, port_write};
