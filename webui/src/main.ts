import { mount } from 'svelte';
import App from './App.svelte';
import './app.css';
import { begin } from './lib/language';
import { live } from './lib/live.svelte';

live.start();

void begin(navigator.languages).then(() => mount(App, { target: document.getElementById('app')! }));
