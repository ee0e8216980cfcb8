package render

import (
	"errors"

	"catchlight/scene"
	"catchlight/scene/mesh"
)

func (p *preparer) readMesh(b *scene.Body) (*mesh.Mesh, error) {
	return nil, errors.New("pending")
}

func (p *preparer) assetShells(d *scene.Eye) (*shells, error) {
	return nil, errors.New("pending")
}
