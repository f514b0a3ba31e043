// Starts the real program and waits until it listens.

import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

// Where it is between 2 and 3 at night, so that a ward has a night to report of, and the
// browser's zone is not that of the site.
const east = (26 - new Date().getUTCHours()) % 24;
const NIGHT = `Etc/GMT${east > 12 ? '+' : '-'}${east > 12 ? 24 - east : east}`;

/** Runs `weald` with arguments; resolves with its address once it has said it. */
export function startDaemon(binary, args) {
  return start(binary, args, /listening on (https?:\/\/[^\s"]+)/);
}

/** Plays a scenario on a pseudo-terminal, as a board that is plugged in there, until it is unplugged. */
export async function plugIn(binary, scenario, path, ...more) {
  const board = await start(binary, ['emulate', scenario, '--pty', path, ...more], /playing on (\S+)/);
  return { unplug: board.stop };
}

/** Runs `weald` with arguments until it has said what is waited for, and gives that back. */
function start(binary, args, waited) {
  const child = spawn(binary, args, { stdio: ['ignore', 'ignore', 'pipe'], env: { ...process.env, TZ: NIGHT } });
  let said = '';
  return new Promise((resolve, reject) => {
    const give = (why) => reject(new Error(`${binary} ${args.join(' ')}: ${why}\n${said}`));
    const timer = setTimeout(() => {
      child.kill('SIGKILL');
      give('says nothing of use after 30 s');
    }, 30_000);
    child.on('error', (e) => give(e.message));
    child.on('exit', (code) => {
      clearTimeout(timer);
      give(`ended with ${code}`);
    });
    child.stderr.on('data', (chunk) => {
      said = (said + chunk).slice(-20_000);
      const found = waited.exec(said);
      if (!found) return;
      clearTimeout(timer);
      resolve({
        url: found[1].replace(/\/$/, ''),
        said: () => said,
        stop: () =>
          new Promise((done) => {
            if (child.exitCode !== null || child.signalCode !== null) return done();
            child.removeAllListeners('exit');
            child.on('exit', done);
            child.kill('SIGTERM');
            setTimeout(() => child.kill('SIGKILL'), 5000).unref();
          }),
      });
    });
  });
}

export function demo(binary, ...more) {
  return startDaemon(binary, ['demo', '--listen', '127.0.0.1:0', ...more]);
}

/** The daemon with a configuration of its own, in a folder that is removed when it stops; more arguments come after it. */
export async function withConfig(binary, yaml, ...more) {
  const dir = mkdtempSync(join(tmpdir(), 'weald-e2e-'));
  const file = join(dir, 'weald.yaml');
  writeFileSync(file, yaml.replaceAll('$DIR', dir));
  try {
    const daemon = await startDaemon(binary, ['run', '-c', file, ...more]);
    return {
      ...daemon,
      file,
      async stop() {
        await daemon.stop();
        rmSync(dir, { recursive: true, force: true });
      },
    };
  } catch (e) {
    rmSync(dir, { recursive: true, force: true });
    throw e;
  }
}
