// The page of whoever sits: apart from the others, since it shows one seat and
// must be there at once on a phone.

import { mount } from 'svelte';
import './app.css';
import { begin } from './lib/language';
import MySeat from './views/MySeat.svelte';

// A phone that keeps its home screen's pages apart from the browser's opens the
// address that it was given, key and all; any other opens that of the manifest,
// in which there is no key, and finds the key where this page has put it.
if (!('standalone' in navigator)) {
  const link = document.createElement('link');
  link.rel = 'manifest';
  link.href = '/seat.webmanifest';
  document.head.append(link);
}

void begin(navigator.languages).then(() => mount(MySeat, { target: document.getElementById('app')! }));
