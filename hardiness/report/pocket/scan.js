// The text of a square code in a photo: by the browser's own reader where it has one, else by jsQR.
"use strict";
(function () {
  const SIZES = [1000, 1600, 600]; // longest side tried, in pixels: a code may be small in the photo, or too sharp

  async function scan(file) {
    let picture;
    try {
      picture = await createImageBitmap(file);
    } catch {
      return ""; // no picture
    }
    if ("BarcodeDetector" in window) {
      try {
        const [code] = await new window.BarcodeDetector({ formats: ["qr_code"] }).detect(picture);
        if (code) return code.rawValue;
      } catch {
        // It is named, and does not work here: the other reader follows.
      }
    }
    for (const size of SIZES) {
      const share = Math.min(1, size / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.max(1, Math.round(picture.width * share));
      canvas.height = Math.max(1, Math.round(picture.height * share));
      const drawing = canvas.getContext("2d", { willReadFrequently: true });
      drawing.drawImage(picture, 0, 0, canvas.width, canvas.height);
      const code = window.jsQR(drawing.getImageData(0, 0, canvas.width, canvas.height).data, canvas.width, canvas.height);
      if (code && code.data) return code.data;
    }
    return "";
  }

  window.hardinessScan = scan;
})();
