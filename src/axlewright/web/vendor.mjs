// Bundle the third-party browser parts into static/vendor/, with their licences beside them.
import { copyFile, mkdir } from "node:fs/promises";
import { build } from "esbuild";

const here = new URL(".", import.meta.url).pathname;
const out = `${here}static/vendor`;
await mkdir(out, { recursive: true });
await build({
  entryPoints: [`${here}three_entry.js`],
  bundle: true,
  minify: true,
  format: "esm",
  target: "es2022",
  legalComments: "inline",
  outfile: `${out}/three.js`,
  logLevel: "warning",
});
await copyFile(`${here}../../../node_modules/three/LICENSE`, `${out}/three.LICENSE.txt`);
