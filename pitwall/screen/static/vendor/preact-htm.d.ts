// As far as the page uses it.
export const html: (parts: TemplateStringsArray, ...values: unknown[]) => any;
export const render: (tree: any, into: Element) => void;
export function useState<T>(first: T): [T, (next: T) => void];
export function useRef<T>(first: T | null): { current: any };
export function useEffect(effect: () => void | (() => void), on?: unknown[]): void;
export function useLayoutEffect(effect: () => void | (() => void), on?: unknown[]): void;
export function useMemo<T>(make: () => T, on: unknown[]): T;
