import { mount } from 'svelte';
import App from './App.svelte';
import './app.css';
import { begin } from './lib/language';
import { me } from './lib/me.svelte';

me.start();

void Promise.all([begin(navigator.languages), me.read()]).then(() => mount(App, { target: document.getElementById('app')! }));
