// The secret of a scanned code stands behind the # and never leaves the browser by itself: put it
// into the form, and out of the address bar and the history.
const secret = location.hash.slice(1);
if (secret) {
  document.getElementById("code").value = secret;
  document.getElementById("name").focus();
  history.replaceState(null, "", location.pathname);
}
