type Forms = { other: string } & Partial<Record<Intl.LDMLPluralRule, string>>;

/** Picks the form that a number takes in a language, by the rules that the browser has for it. */
export function plurals(language: string): (n: number, forms: Forms) => string {
  const rules = new Intl.PluralRules(language);
  return (n, forms) => forms[rules.select(n)] ?? forms.other;
}
