// Texts that the phone keeps for this page. Storage may be switched off or full: then a reload loses what was
// not sent yet, and nothing else.

export function read(key) {
  try { return localStorage.getItem(key); } catch (error) { return null; }
}

export function write(key, text) {
  try {
    if (text === null) localStorage.removeItem(key);
    else localStorage.setItem(key, text);
  } catch (error) { /* see above */ }
}
