// Decodes a FIT file from standard input with fit-file-parser, strictly
// (checksums must be right), and prints what is in it as JSON.
import { readFileSync } from "node:fs";
import FitParser from "fit-file-parser";

const parser = new FitParser({ force: false, speedUnit: "m/s", lengthUnit: "m", mode: "list" });
parser.parse(readFileSync(0), (error, data) => {
  if (error) {
    console.error(String(error));
    process.exit(1);
  }
  process.stdout.write(JSON.stringify(data));
});
