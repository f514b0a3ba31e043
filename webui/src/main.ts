import { mount } from 'svelte';
import App from './App.svelte';
import './app.css';
import { live } from './lib/live.svelte';

live.start();

mount(App, { target: document.getElementById('app')! });
