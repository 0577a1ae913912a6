// What a program written with the npm package fhirclient finds: node with_fhirclient.cjs BASE ASKED

const FHIR = require("fhirclient");

const [base, asked] = [process.argv[2], JSON.parse(process.argv[3])];
const client = new FHIR.FhirClient(`${base}/fhir`);

async function every(address) {
  const found = [];
  const pages = client.resources(address);
  for await (const resource of pages) found.push(resource);
  return found.length;
}

async function main() {
  const [patient] = (await client.fhirRequest(`Patient?identifier=${encodeURIComponent(asked.identifier)}`)).entry;
  const id = patient.resource.id;
  const panel = await client.fhirRequest(`Observation?_id=${asked.panel}&_include=Observation:has-member`);
  const history = await client.fhirRequest(`DiagnosticReport/${asked.report}/_history`);
  console.log(
    JSON.stringify({
      patients: await every("Patient?_count=15"),
      observations: (await client.fhirRequest("Observation?_summary=count")).total,
      reports: await every("DiagnosticReport?_count=90"),
      patient: await every(`Observation?patient=${id}&_count=90`),
      "reports of patient": await every(`DiagnosticReport?patient=${id}`),
      coded: await every(`Observation?patient=${id}&code=${encodeURIComponent(asked.code)}`),
      withdrawn: await every(`Observation?patient=${id}&status=entered-in-error&_count=90`),
      "since february": await every(`DiagnosticReport?patient=${id}&date=ge2026-02-01`),
      members: panel.entry.filter((entry) => entry.search.mode === "include").length,
      versions: history.total,
    }),
  );
}

main();
