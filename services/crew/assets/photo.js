// Makes a photo small enough to send. Drawing it anew also leaves behind what the
// camera wrote into it, such as the place.
import { h } from './dom.js';
import { put, read } from './store.js';

const longestSide = 1600;
const quality = 0.82;

const shrink = async (file) => {
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

// keepPhoto stores a photo and returns its digest, by which the ledger knows it.
export const keepPhoto = async (file) => {
  const bytes = await shrink(file);
  const digest = new Uint8Array(await crypto.subtle.digest('SHA-256', bytes));
  const sha256 = [...digest].map((b) => b.toString(16).padStart(2, '0')).join('');
  const known = await read('photos', sha256);
  if (!known) await put('photos', { sha256, bytes, type: 'image/jpeg', sent: false, taken: Date.now() });
  return sha256;
};

// picture returns a small picture of the nth photo of an entry: of what is kept here,
// else of what the ledger has.
export const picture = (sha256, n) => {
  const image = h('img', { alt: `Photo ${n + 1}`, width: 112, height: 112 });
  read('photos', sha256).then((photo) => {
    if (!photo) {
      image.src = `/v1/photos/${sha256}?width=320`;
      return;
    }
    const address = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
    image.addEventListener('load', () => URL.revokeObjectURL(address), { once: true });
    image.src = address;
  });
  return image;
};
