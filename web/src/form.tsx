// A form made from a table of keys: whatever a file may hold can be seen and changed.
import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { changes, get, isMap, type Key, type Map, type Path, same, samePath, type Tree, within } from "./tree";
import { units } from "./units";

export interface Form {
  base: Map; // as the server has it
  now: Map; // with what was typed
  wrong: { path: Path; words: string } | null;
  gone: Path[]; // items that are taken out when it is saved
  change: (path: Path, value: Tree | undefined) => void;
  takeOut: (path: Path) => void;
  putBack: (path: Path) => void;
  known: Record<string, string[]>; // what can be chosen for a key, where any words may stand
}

const idOf = (path: Path) => `f ${path.join(" ")}`.replaceAll(/[^A-Za-z0-9]/g, "-");

const titled = (name: string) => `${name[0]?.toUpperCase() ?? ""}${name.slice(1)}`;

/* ---- one text ---- */

// A bare number gets its unit: that which stood there, else the person's own. It is seen before it is saved.
export function withUnit(key: Key, text: string, before: string): string {
  const bare = /^[-+]?[\d.,/ ]*\d[\d.,/ ]*$/.test(text);
  const unit = key.unit?.[units.value];
  if (!bare || !unit) return text;
  const was = /^[-+]?[\d./ ]*\d\s*(\D[^\d]*)$/.exec(before)?.[1]?.trim();
  return `${text.replace(/,(?=\d)/, ".")} ${was && !/ to |\+\/-|,/.test(before) ? was : unit}`;
}

const listed = (text: string) => text.split(/[;,]/).map((t) => t.trim()).filter(Boolean);
const completed = (key: Key, text: string, before: string) =>
  key.kind === "values" ? listed(text).map((t) => withUnit(key, t, "")).join(", ") : withUnit(key, text.trim(), before);

const textOf = (key: Key, x: Tree | undefined): string => {
  if (Array.isArray(x)) return x.map(String).join(key.kind === "texts" ? "\n" : ", ");
  return x === undefined || isMap(x) ? "" : x;
};

function treeOf(key: Key, text: string): Tree | undefined {
  if (!text.trim()) return undefined;
  if (key.kind === "texts") return text.split("\n").filter((t) => t.trim());
  if (key.kind === "values") return listed(text);
  return text;
}

function hint(key: Key): string {
  if (!key.unit?.accepts) return key.what;
  return `${key.what} (${key.unit.accepts})`;
}

function Line({ form, path, of: key }: { form: Form; path: Path; of: Key }) {
  const id = idOf(path);
  const [typed, setTyped] = useState<string | null>(null); // while one types, the text as it stands there
  const text = typed ?? textOf(key, get(form.now, path)), before = textOf(key, get(form.base, path));
  const wrong = form.wrong && form.wrong.path.length >= path.length && within(form.wrong.path, path) ? form.wrong.words : "";
  const put = (to: string) => form.change(path, treeOf(key, to));
  const type = (to: string) => {
    setTyped(to);
    put(to);
  };
  const complete = () => {
    setTyped(null);
    if (typed !== null && key.unit && typed) put(completed(key, typed, before));
  };
  const shared = { id, "aria-describedby": `${id}-what`, "aria-invalid": wrong ? true : undefined };
  const long = key.kind === "texts" || key.key === "complaint" || key.key === "note" || key.kind === "values" || before.length > 60; // it must not change while one types
  return (
    <div class={`line-field${long ? " long" : ""}${wrong ? " wrong" : ""}`}>
      <p class="line-name">
        <label for={id}>
          {titled(key.key)}
          {key.required && " (needed)"}
        </label>
        {!same(get(form.now, path), get(form.base, path)) && <small class="changed-mark">changed</small>}
      </p>
      {key.choices.length ? (
        <select {...shared} value={text} onChange={(event) => put(event.currentTarget.value)}>
          <option value="">–</option>
          {text && !key.choices.includes(text) && <option value={text}>{text}</option>}
          {key.choices.map((c) => (
            <option key={c}>{c}</option>
          ))}
        </select>
      ) : long ? (
        <textarea {...shared} rows={Math.min(6, Math.max(2, Math.ceil(text.length / 40)))} value={text} onInput={(event) => type(event.currentTarget.value)} onBlur={complete} />
      ) : (
        <input {...shared} list={form.known[key.key] ? `known ${key.key}`.replaceAll(" ", "-") : undefined} autocomplete="off" value={text} onInput={(event) => type(event.currentTarget.value)} onBlur={complete} />
      )}
      {wrong && (
        <p class="wrong-words" role="alert">
          ✕ {wrong}
        </p>
      )}
      <small id={`${id}-what`} class="faint">
        {hint(key)}
      </small>
    </div>
  );
}

export function Known({ of }: { of: Record<string, string[]> }) {
  return (
    <>
      {Object.entries(of).map(([key, list]) => (
        <datalist key={key} id={`known ${key}`.replaceAll(" ", "-")}>
          {list.map((text) => (
            <option key={text} value={text} />
          ))}
        </datalist>
      ))}
    </>
  );
}

/* ---- names with values: screws ---- */

function Named({ form, path, of: key }: { form: Form; path: Path; of: Key }) {
  const [name, setName] = useState("");
  const map = get(form.now, path);
  const names = isMap(map) ? Object.keys(map) : [];
  const add = () => {
    if (!name.trim()) return;
    form.change([...path, name.trim()], names.includes(name.trim()) ? map && isMap(map) ? map[name.trim()] : "" : "");
    setName("");
  };
  return (
    <fieldset>
      <legend>{titled(key.key)}</legend>
      <div class="lines">
        {names.map((n) => (
          <Line key={n} form={form} path={[...path, n]} of={{ ...key, key: n, kind: "value", what: "empty takes it away" }} />
        ))}
        <div class="line-field">
          <label for={`${idOf(path)}-new`}>another name</label>
          <input id={`${idOf(path)}-new`} autocomplete="off" value={name} onInput={(event) => setName(event.currentTarget.value)} />
          <button type="button" onClick={add} disabled={!name.trim()}>
            Add it
          </button>
          <small class="faint">{hint(key)}</small>
        </div>
      </div>
    </fieldset>
  );
}

/* ---- keys and lists of them ---- */

function Fold({ title, marks, open, children }: { title: string; marks: string; open: boolean; children: () => ComponentChildren }) {
  const [shown, setShown] = useState(open);
  return (
    <details open={open || shown} onToggle={(event) => setShown(event.currentTarget.open)}>
      <summary>
        <span>
          {title} {marks && <small class="changed-mark">{marks}</small>}
        </span>
      </summary>
      {(open || shown) && children()}
    </details>
  );
}

function marksOf(form: Form, path: Path): string {
  const before = get(form.base, path), now = get(form.now, path);
  if (typeof path[path.length - 1] === "number" && before === undefined) return "new";
  const n = changes(before, now) + form.gone.filter((g) => within(g, path)).length;
  return n ? `${n} changed` : "";
}
const isWrong = (form: Form, path: Path) => form.wrong !== null && within(form.wrong.path, path);

// What tells one item from the next.
function itemTitle(one: string, i: number, item: Tree | undefined): string {
  const some = isMap(item) ? Object.values(item).filter((x): x is string => typeof x === "string").slice(0, 5) : [];
  const text = some.join(", ");
  return `${one} ${i + 1}${text ? `: ${text.length > 60 ? `${text.slice(0, 60)} …` : text}` : ""}`;
}

function Items({ form, path, of: key }: { form: Form; path: Path; of: Key }) {
  const found = get(form.now, path);
  const list = Array.isArray(found) ? found : [];
  return (
    <div class="items">
      {list.map((item, i) => {
        const at = [...path, i], out = form.gone.some((g) => samePath(g, at));
        if (out) {
          return (
            <p key={i}>
              <s>{itemTitle(key.one, i, item)}</s> <small class="changed-mark">taken out</small>{" "}
              <button type="button" onClick={() => form.putBack(at)}>
                Put it back
              </button>
            </p>
          );
        }
        return (
          <Fold key={i} title={itemTitle(key.one, i, item)} marks={marksOf(form, at)} open={isWrong(form, at)}>
            {() => (
              <>
                <Keys form={form} path={at} of={key.keys} />
                <p>
                  <button type="button" onClick={() => form.takeOut(at)}>
                    Take {key.one} {i + 1} out
                  </button>
                </p>
              </>
            )}
          </Fold>
        );
      })}
      <p>
        <button type="button" onClick={() => form.change([...path, list.length], {})}>
          Add: {key.one}
        </button>
      </p>
    </div>
  );
}

export function Keys({ form, path, of: keys }: { form: Form; path: Path; of: Key[] }) {
  const plain = keys.filter((k) => k.kind !== "map" && k.kind !== "list" && k.kind !== "named");
  const deep = keys.filter((k) => !plain.includes(k));
  return (
    <>
      <div class="lines">
        {plain.map((k) => (
          <Line key={k.key} form={form} path={[...path, k.key]} of={k} />
        ))}
      </div>
      {deep.map((k) => {
        const at = [...path, k.key];
        const found = get(form.now, at);
        const count = Array.isArray(found) ? `: ${found.length}` : isMap(found) ? `: ${Object.keys(found).length} given` : "";
        if (k.kind === "named") return <Named key={k.key} form={form} path={at} of={k} />;
        return (
          <Fold key={k.key} title={titled(k.key) + count} marks={marksOf(form, at)} open={isWrong(form, at)}>
            {() => (k.kind === "map" ? <Keys form={form} path={at} of={k.keys} /> : <Items form={form} path={at} of={k} />)}
          </Fold>
        );
      })}
    </>
  );
}
