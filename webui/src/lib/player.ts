// Plays bursts. Whether a browser lets it is for others to find out.

import { HARMONICS, PITCH, RISE, type Burst } from './sound';

/** Plays a burst, each of its harmonics so loud. */
export function play(context: AudioContext, burst: Burst, loud: number): void {
  const begin = context.currentTime + 0.05;
  for (const pulse of burst.pulses) {
    const at = begin + pulse.at / 1000;
    const lasts = pulse.lasts / 1000;
    const gain = context.createGain();
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(loud, at + RISE * lasts);
    gain.gain.setValueAtTime(loud, at + (1 - RISE) * lasts);
    gain.gain.linearRampToValueAtTime(0, at + lasts);
    gain.connect(context.destination);
    for (const h of HARMONICS) {
      const tone = context.createOscillator();
      tone.frequency.value = PITCH * h;
      tone.connect(gain);
      tone.start(at);
      tone.stop(at + lasts);
    }
  }
}
