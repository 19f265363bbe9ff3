// Text files to keep and to open, without a way through the server's addresses.

import { make } from "./fields.js";
import { notify } from "./shell.js";

export function save(text, name, type) {
  const url = URL.createObjectURL(new Blob([text], { type: `${type};charset=utf-8` }));
  make("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 1000);
}

// Hands the text of a chosen file to the server; larger ones it would refuse, so they are not sent.
export function bindUpload(input, largest, take) {
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (!file) return;
    input.value = ""; // so that the same file can be chosen again once it is mended
    if (file.size > largest) {
      const size = (file.size / 1e6).toFixed(1);
      notify(`${file.name}: expected at most ${largest / 1e6} MB, got ${size} MB`, "error");
      return;
    }
    take({ name: file.name, text: await file.text() });
  });
}
