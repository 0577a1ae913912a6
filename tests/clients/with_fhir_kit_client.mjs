// What a program written with fhir-kit-client finds: node with_fhir_kit_client.mjs BASE ASKED

import { Client } from "fhir-kit-client";

const [base, asked] = [process.argv[2], JSON.parse(process.argv[3])];
const client = new Client({ baseUrl: `${base}/fhir` });

async function every(resourceType, searchParams) {
  const found = [];
  let bundle = await client.search({ resourceType, searchParams: { ...searchParams, _count: 90 } });
  while (bundle) {
    found.push(...(bundle.entry ?? []).filter((entry) => entry.search.mode === "match"));
    bundle = bundle.link.some((link) => link.relation === "next")
      ? await client.nextPage({ bundle })
      : undefined;
  }
  return found.length;
}

async function total(resourceType, searchParams) {
  return (await client.search({ resourceType, searchParams: { ...searchParams, _summary: "count" } })).total;
}

const statement = await client.capabilityStatement();
if (statement.fhirVersion !== "4.0.1") throw new Error(statement.fhirVersion);
const found = await client.search({ resourceType: "Patient", searchParams: { identifier: asked.identifier } });
const patient = found.entry[0].resource.id;
const panel = await client.search({
  resourceType: "Observation",
  searchParams: { _id: asked.panel, _include: "Observation:has-member" },
  options: { postSearch: true },
});
const report = await client.read({ resourceType: "DiagnosticReport", id: asked.report });
const first = await client.vread({ resourceType: "DiagnosticReport", id: report.id, version: "1" });
if (first.meta.versionId !== "1") throw new Error(first.meta.versionId);
const history = await client.resourceHistory({ resourceType: "DiagnosticReport", id: report.id });
console.log(
  JSON.stringify({
    patients: await every("Patient", {}),
    observations: await total("Observation", {}),
    reports: await every("DiagnosticReport", {}),
    patient: await every("Observation", { patient }),
    "reports of patient": await every("DiagnosticReport", { patient }),
    coded: await every("Observation", { patient, code: asked.code }),
    withdrawn: await every("Observation", { patient, status: "entered-in-error" }),
    "since february": await every("DiagnosticReport", { patient, date: "ge2026-02-01" }),
    members: panel.entry.filter((entry) => entry.search.mode === "include").length,
    versions: history.total,
  }),
);
