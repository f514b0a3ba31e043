/** Goes to the part of a page that the address names, once it is there; the focus goes along. */
export function arrive(): void {
  const part = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!part) return;
  part.scrollIntoView();
  part.focus({ preventScroll: true });
}
