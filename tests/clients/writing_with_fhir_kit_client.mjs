// Writes with fhir-kit-client and reads again: node writing_with_fhir_kit_client.mjs BASE BUNDLE RESPONSE

import { readFileSync } from "node:fs";
import { Client } from "fhir-kit-client";

const [base, ...files] = process.argv.slice(2);
const [bundle, response] = files.map((name) => JSON.parse(readFileSync(name, "utf8")));
const client = new Client({ baseUrl: `${base}/fhir` });

const answer = await client.transaction({ body: bundle });
const told = answer.entry.map((entry) => entry.response);
const written = told.map((one) => one.location.split("/").slice(-4, -2).join("/"));
const own = written.filter((name) => name.startsWith("Observation/"));
const found = await client.search({
  resourceType: "Observation",
  searchParams: { _id: own.map((name) => name.split("/")[1]).join(",") },
  options: { postSearch: true },
});
const form = await client.create({ resourceType: "QuestionnaireResponse", body: response });
const kept = await client.read({ resourceType: "QuestionnaireResponse", id: form.id });
console.log(
  JSON.stringify({
    statuses: told.map((one) => one.status.slice(0, 3)),
    written,
    observations: found.total,
    form: form.id,
    items: kept.item,
  }),
);
