// Photos: made smaller, kept on disk by their hash; a field names each once it is there.
async function smaller(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, PLAN.photo.side / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((done) => {
    canvas.toBlob(done, "image/jpeg", PLAN.photo.quality);
  });
  return new Uint8Array(await blob.arrayBuffer());
}

// Returns what went wrong, in words; empty: it is kept.
async function keepPhoto(file, about, stop) {
  let bytes;
  try {
    bytes = await smaller(file);
  } catch {
    return TEXT.photoBad;
  }
  const hash = hex(sha256(bytes));
  try {
    await written(["photos"], (turn) => turn.objectStore("photos").put(bytes, hash));
  } catch {
    return TEXT.photoFull;
  }
  put(`ph/${uuid4()}`, { hash, about, stop });
  return "";
}

const photosOf = (about, stop) => fieldsUnder("ph/")
  .filter((field) => {
    const photo = get(field);
    return photo && photo.about === about && (stop === undefined || photo.stop === stop);
  })
  .sort((a, b) => entryOf(a).t - entryOf(b).t);

const hashesOf = (fields) => [...new Set(fields.map((field) => get(field).hash))];

async function photoBytes(hash) {
  const found = await readAll("photos", IDBKeyRange.only(hash));
  return found.length ? found[0][1] : null;
}

function base64(bytes) {
  let text = "";
  for (let i = 0; i < bytes.length; i += 0x8000) {
    text += String.fromCharCode(...bytes.subarray(i, i + 0x8000));
  }
  return btoa(text);
}
