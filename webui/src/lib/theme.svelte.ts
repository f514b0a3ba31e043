// Light or dark: as the device says, unless a person has chosen.

import { repaint } from './loop';
import type { Theme } from './ramp';
import { remember } from './remember';

export type Choice = 'auto' | Theme;

const KEY = 'weald.theme';

function stored(): Choice {
  const value = remember(KEY);
  return value === 'light' || value === 'dark' ? value : 'auto';
}

class Themes {
  choice = $state<Choice>(stored());
  #device = $state<Theme>('light');

  constructor() {
    const dark = globalThis.matchMedia?.('(prefers-color-scheme: dark)');
    if (!dark) return;
    const follow = () => {
      this.#device = dark.matches ? 'dark' : 'light';
      this.#show();
    };
    dark.addEventListener('change', follow);
    follow();
  }

  get current(): Theme {
    return this.choice === 'auto' ? this.#device : this.choice;
  }

  choose(choice: Choice): void {
    this.choice = choice;
    remember(KEY, choice);
    this.#show();
  }

  #show(): void {
    document.documentElement.dataset.theme = this.current;
    repaint();
  }
}

export const theme = new Themes();
