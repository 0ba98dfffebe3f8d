// Lets the browser keep the last wall, where it allows that: on this machine, or over https.
if ("serviceWorker" in navigator && isSecureContext) navigator.serviceWorker.register("/sw.js");
