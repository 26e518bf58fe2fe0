// Which codes are on this picture? zxing-wasm answers, away from the page, so that the page never stands still.
"use strict";

importScripts("zxing_reader.js");

const { prepareZXingModule, readBarcodes } = self.ZXingWASM;
const HOW = { formats: ["QRCode"], tryHarder: true, tryRotate: true, tryDownscale: true, tryInvert: false, maxNumberOfSymbols: 2 };

prepareZXingModule({ overrides: { locateFile: (name) => (name.endsWith(".wasm") ? "zxing_reader.wasm" : name) } });

self.addEventListener("message", async (event) => {
  const { call, image } = event.data;
  try {
    const seen = await readBarcodes(image, HOW);
    self.postMessage({ call, texts: seen.filter((one) => one.isValid).map((one) => one.text) });
  } catch (fault) {
    self.postMessage({ call, fault: String(fault) });
  }
});
