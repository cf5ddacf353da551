// Shows push messages, and opens the page they are about.
"use strict";

self.addEventListener("push", (event) => {
  const said = event.data ? event.data.json() : { title: "An alert", body: "Look at the board.", page: "/" };
  const shown = { body: said.body, tag: said.alert || undefined, renotify: Boolean(said.alert), data: said.page };
  event.waitUntil(self.registration.showNotification(said.title, shown));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow(event.notification.data || "/"));
});
