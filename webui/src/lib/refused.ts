// What to do when the daemon says that it does not know who asks, or not any more.
// Whoever looks after that sets it; requests call it.
export const refused = { tell: (): void => undefined };
