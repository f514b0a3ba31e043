// Runs the sketch for five scans: 100 ms apart, a little late, and once after
// a long pause. The clock wraps on the way.

#include "Arduino.h"

#include "board.ino"

int main(void) {
  const uint32_t at[] = {4294967196u, 4294967197u, 4294967295u, 5u, 100u, 1000u, 1050u, 1100u};
  last = at[0] - EVERY_MS;
  setup();
  for (unsigned i = 0; i < sizeof at / sizeof at[0]; i++) {
    clock_ms = at[i];
    uint32_t before = seq;
    loop();
    scan += seq - before;
  }
  return 0;
}
