// @vitest-environment happy-dom
import { describe, expect, it } from 'vitest';
import { parse, placePath, sourcePath } from './route.svelte';

describe('addresses', () => {
  it('lead to pages', () => {
    expect(parse('/')).toEqual({ page: 'round' });
    expect(parse('/places/bed-4')).toEqual({ page: 'place', id: 'bed-4' });
    expect(parse('/setup')).toEqual({ page: 'setup' });
    expect(parse('/setup/hub/mat1')).toEqual({ page: 'source', id: 'hub/mat1' });
    expect(parse('/rehearse')).toEqual({ page: 'rehearse' });
    expect(parse('/notes')).toEqual({ page: 'notes', name: 'firmware' });
    expect(parse('/notes/rules')).toEqual({ page: 'notes', name: 'rules' });
    expect(parse('/bench')).toEqual({ page: 'bench' });
    expect(parse('/calibrate')).toEqual({ page: 'calibrate' });
    for (const path of ['/nowhere', '/setup/hub', '/setup/a/b/c', '/alerts/1', '/places/%E0']) expect(parse(path).page).toBe('missing');
  });

  it('that are old still do', () => expect(parse('/bridges')).toEqual({ page: 'setup' }));

  it('are made of any name', () => {
    expect(parse(placePath('bed 4/b'))).toEqual({ page: 'place', id: 'bed 4/b' });
    expect(parse(sourcePath('hub ü/mat 1'))).toEqual({ page: 'source', id: 'hub ü/mat 1' });
  });
});
