// Letting a phone or tablet in, and out again.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { ask, type Device, type Token } from "./api";
import { keepsPages } from "./offline";

const trouble = signal("");
const devices = signal<Device[]>([]);
const token = signal<Token | null>(null);

async function attempt(work: () => Promise<void>) {
  try {
    await work();
    trouble.value = "";
  } catch (error) {
    trouble.value = (error as Error).message;
  }
}

const load = () =>
  attempt(async () => {
    devices.value = (await ask<{ devices: Device[] }>("GET", "/api/devices")).devices;
  });

// The token comes behind the # of the address, which is never sent anywhere.
export function PairPage({ after }: { after: () => void }) {
  const given = location.hash.slice(1);
  const pair = (event: Event) => {
    event.preventDefault();
    const form = new FormData(event.currentTarget as HTMLFormElement);
    void attempt(async () => {
      await ask("POST", "/api/pair", { token: String(form.get("token")).trim(), name: String(form.get("name")).trim() });
      history.replaceState(null, "", "/");
      after();
    });
  };
  return (
    <main>
      <h1>Pair this device</h1>
      <form onSubmit={pair}>
        <label>
          Token
          <input name="token" value={given} required minLength={10} maxLength={10} autocomplete="off" autocapitalize="characters" />
        </label>
        <label>
          A name for this device
          <input name="name" required maxLength={40} placeholder="phone at bay 3" />
        </label>
        <button type="submit">Pair</button>
      </form>
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      <p>The token stands on the terminal of the server, or on the devices page of one that is let in already.</p>
    </main>
  );
}

// Nobody vouches for a certificate made in the shop: the person compares.
function Fingerprint({ of }: { of: string }) {
  return (
    <>
      <p>Its browser warns once of the certificate. Go on there only when the SHA-256 fingerprint it shows is</p>
      <p class="fingerprint">{of.split(":").map((byte, i) => (i ? `:\u200b${byte}` : byte)).join("")}</p>
    </>
  );
}

export function DevicesPage({ lan }: { lan: boolean }) {
  useEffect(() => void load(), []);
  return (
    <main>
      <h1>Devices</h1>
      {!lan && <p>This server is reached from this machine only. Start it with --lan to let others in.</p>}
      {trouble.value && <p class="trouble" role="alert">{trouble.value}</p>}
      <p class="faint">
        {keepsPages.value ? "On this device the pages also open with the link down." : "On this device the pages open only while the server is reached."}
      </p>
      <ul class="checks">
        {devices.value.map((d) => (
          <li key={d.device}>
            <strong>
              {d.name}
              {d.this ? " (this one)" : ""}
            </strong>
            <button
              type="button"
              onClick={() =>
                void attempt(async () => {
                  await ask("DELETE", `/api/devices/${d.device}`);
                  await load();
                })
              }
            >
              Turn out
            </button>
          </li>
        ))}
      </ul>
      {lan && (
        <p>
          <button
            type="button"
            onClick={() =>
              void attempt(async () => {
                token.value = await ask<Token>("POST", "/api/pairing", {});
              })
            }
          >
            Let another device in
          </button>
        </p>
      )}
      {token.value && (
        <section class="first">
          <p>Point its camera here, or open {token.value.address.replace(/#.*/, "")} and type:</p>
          <p class="verdict">{token.value.token}</p>
          <img class="qr" alt="QR code of the address with the token" src={`data:image/svg+xml,${encodeURIComponent(token.value.qr_svg)}`} />
          <p>It works once, within 10 minutes.</p>
          {token.value.fingerprint && <Fingerprint of={token.value.fingerprint} />}
        </section>
      )}
    </main>
  );
}
