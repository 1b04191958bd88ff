// Makes a photo small enough to send, for the office's page and the crew's phone.
// Drawing it anew also leaves behind what the camera wrote into it, such as the place.
const longestSide = 1600;
const quality = 0.82;

// shrink returns the bytes of the picture in a file as a JPEG.
export const shrink = async (file) => {
  const picture = await createImageBitmap(file, { imageOrientation: 'from-image' });
  const scale = Math.min(1, longestSide / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((resolve) => { canvas.toBlob(resolve, 'image/jpeg', quality); });
  if (!blob) throw new Error('the photo cannot be drawn');
  return blob.arrayBuffer();
};

// digestOf returns the SHA-256 by which the ledger knows a photo.
export const digestOf = async (bytes) => {
  const digest = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
  return [...digest].map((b) => b.toString(16).padStart(2, '0')).join('');
};
