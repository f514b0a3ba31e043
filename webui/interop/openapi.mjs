// Holds a running daemon's OpenAPI document against programs that others have written:
// a linter reads it, a generator makes types of it, the compiler checks a client with
// those types, and the client asks the daemon.
//
//   node interop/openapi.mjs http://127.0.0.1:8420
//
// Prints what the client was told, as JSON. It ends with 1, and says why, when one of
// them finds fault.

import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { createConfig, lintFromString } from '@redocly/openapi-core';
import createClient from 'openapi-fetch';
import openapiTS, { astToString } from 'openapi-typescript';
import ts from 'typescript';

const [address] = process.argv.slice(2);
const source = fileURLToPath(new URL('client.ts', import.meta.url));
const types = fileURLToPath(new URL('daemon.ts', import.meta.url)); // exists only here

const response = await fetch(`${address}/api/v1/openapi.json`);
const document = await response.text();

// The rules of the linter that say what is wrong, and not what is a matter of taste.
const rules = {
  struct: 'error',
  'spec-components-invalid-map-name': 'error',
  'no-unresolved-refs': 'error',
  'operation-operationId-unique': 'error',
  'operation-parameters-unique': 'error',
  'path-declaration-must-exist': 'error',
  'path-not-include-query': 'error',
  'path-parameters-defined': 'error',
  'no-identical-paths': 'error',
  'no-ambiguous-paths': 'error',
  'no-enum-type-mismatch': 'error',
  'no-invalid-schema-examples': 'error',
  'no-invalid-media-type-examples': 'error',
  'no-invalid-parameter-examples': 'error',
  'operation-2xx-response': 'error',
  'operation-description': 'off',
  'operation-summary': 'error',
  'no-undefined-server-variable': 'error',
  'security-defined': 'error',
};
const found = await lintFromString({ source: document, absoluteRef: 'openapi.json', config: await createConfig({ rules }) });
// A log-in at a directory is nothing but redirections.
const redirects = (p) => p.ruleId === 'operation-2xx-response' && p.location[0]?.pointer.startsWith('#/paths/~1api~1v1~1directory~1');
fail(found.filter((p) => !redirects(p)).map((p) => `${p.ruleId}: ${p.message} at ${p.location[0]?.pointer}`));

const generated = astToString(await openapiTS(document));

// The compiler, with one file that is not on the disk.
const options = {
  target: ts.ScriptTarget.ES2022, module: ts.ModuleKind.ESNext, moduleResolution: ts.ModuleResolutionKind.Bundler,
  lib: ['lib.es2022.d.ts', 'lib.dom.d.ts'], types: [], strict: true, noEmit: true, skipLibCheck: true,
  allowImportingTsExtensions: true, verbatimModuleSyntax: true,
};
const host = ts.createCompilerHost(options);
const { fileExists, readFile, getSourceFile } = host;
host.fileExists = (name) => name === types || fileExists(name);
host.readFile = (name) => (name === types ? generated : readFile(name));
host.getSourceFile = (name, version, ...rest) =>
  name === types ? ts.createSourceFile(name, generated, version) : getSourceFile(name, version, ...rest);
const program = ts.createProgram([source], options, host);
fail(ts.getPreEmitDiagnostics(program).map((d) => `${d.file?.fileName ?? ''}: ${ts.flattenDiagnosticMessageText(d.messageText, '\n')}`));

const { outputText } = ts.transpileModule(readFileSync(source, 'utf8'), { compilerOptions: { ...options, noEmit: false } });
const { ask } = await import(`data:text/javascript,${encodeURIComponent(outputText)}`);
console.log(JSON.stringify(await ask(createClient({ baseUrl: address }))));

function fail(problems) {
  if (problems.length === 0) return;
  console.error(problems.join('\n'));
  process.exit(1);
}
